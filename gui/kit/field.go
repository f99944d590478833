package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// Field is a text field that leaves the window its shortcuts and passes on the keys it has no use
// for: Fyne's own keeps both from the window.
type Field struct {
	widget.Entry
	OnShortcut func(fyne.Shortcut) bool // true if the window took it
	OnDown     func()                   // the down arrow: on to what is below
	scroll     *container.Scroll        // the toolkit's, that holds the text
	cursor     *canvas.Rectangle
	ring       *canvas.Rectangle
	more       *Surface // hides the cut head of a text that is longer than the field
	focused    bool
	width      float32 // that its text was placed for
}

// NewField makes an empty field; hint stands in it until something is typed.
func NewField(hint string) *Field {
	f := &Field{}
	f.Wrapping = fyne.TextWrap(fyne.TextTruncateClip) // long paths scroll without a bar
	f.SetPlaceHolder(hint)
	f.ExtendBaseWidget(f)
	return f
}

// Framed returns the field in a frame of our own, which a long text cannot run over. No theme of its own
// does that: each would have the toolkit read all fonts again.
func (f *Field) Framed() fyne.CanvasObject {
	dots := NewText("…", SizeBody, ColMuted).Right()
	dots.style = f.TextStyle
	f.more = NewSurface(theme.ColorNameInputBackground, "", dots).Round(0)
	f.more.Hide()
	wheel := &wheel{}
	wheel.ExtendBaseWidget(wheel)
	f.cursor, f.ring = NewBox(0), NewBox(fieldRadius)
	f.cursor.Hide()
	f.OnCursorChanged = f.placeCursor
	inside := container.New(&fieldLayout{f}, f, f.more, wheel, f.cursor, f.ring)
	return NewSurface(theme.ColorNameInputBackground, "", inside).Pad(fieldPad, 0).Round(fieldRadius)
}

const (
	fieldPad    = 3
	fieldRadius = 7
)

// fieldLayout fills the frame with the field, and lays the ellipsis over the head of a long text, and
// the ring over its edge.
type fieldLayout struct{ f *Field }

func (l *fieldLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	SetBounds(o[0], 0, 0, s.Width, s.Height)
	if l.f.width != s.Width && !l.f.focused { // what was put before there was room stands at its head
		l.f.width = s.Width
		l.f.ToEnd()
	}
	SetBounds(o[2], 0, 0, s.Width, s.Height)
	// As wide as leaves whole characters of a text that stands at its end.
	const pad, least = 8, 15
	glyph := Measure("0", SizeBody, l.f.TextStyle).Width
	whole := float32(int((s.Width-pad-least)/glyph)) * glyph
	SetBounds(o[1], 0, 2, s.Width-pad-whole, s.Height-4)
	l.f.show()
	SetBounds(o[4], -fieldPad, 0, s.Width+2*fieldPad, s.Height)
}

func (*fieldLayout) MinSize(o []fyne.CanvasObject) fyne.Size { return o[0].MinSize() }

// CreateRenderer implements fyne.Widget.
func (f *Field) CreateRenderer() fyne.WidgetRenderer {
	r := f.Entry.CreateRenderer()
	for _, o := range r.Objects() {
		if s, ok := o.(*container.Scroll); ok {
			f.scroll = s
			s.OnScrolled = func(fyne.Position) { f.placeCursor() }
		}
	}
	return r
}

// placeCursor draws the cursor, which stands still. The toolkit's own blinks by an animation that has
// the whole window drawn at the rate of the display, and it is as wide as the border, which is ours.
func (f *Field) placeCursor() {
	if f.cursor == nil || f.scroll == nil {
		return
	}
	SetFill(f.cursor, ColAccent)
	at := f.CursorPosition()
	x := f.scroll.Position().X + at.X - f.scroll.Offset.X
	h := Measure("Ag", SizeBody, f.TextStyle).Height
	SetBounds(f.cursor, x, f.scroll.Position().Y+at.Y-f.scroll.Offset.Y, 2, h)
	SetVisible(f.cursor, f.focused && !f.Disabled() && x >= 0 && x < f.Size().Width)
}

// wheel lies over a field and hands the mouse wheel to the page: Fyne's own field keeps it, and the
// page would stand still as soon as a field comes under the pointer.
type wheel struct{ widget.BaseWidget }

// Scrolled implements fyne.Scrollable.
func (w *wheel) Scrolled(e *fyne.ScrollEvent) {
	if pages := pagesOf(w); len(pages) > 0 {
		pages[len(pages)-1].Scrolled(e)
	}
}

// CreateRenderer implements fyne.Widget.
func (w *wheel) CreateRenderer() fyne.WidgetRenderer {
	return widget.NewSimpleRenderer(NewBox(0))
}

// ellipsis shows where the head of a text is out of sight. Without the keyboard a field stands at the
// end of its text, which says most of a path.
func (f *Field) ellipsis() {
	if f.more == nil {
		return
	}
	const pads = 16
	w := f.Size().Width
	SetVisible(f.more, !f.focused && w > 0 && Measure(f.Text, SizeBody, f.TextStyle).Width > w-pads)
}

// HeadHidden reports whether an ellipsis stands for the head of the text.
func (f *Field) HeadHidden() bool { return f.more != nil && f.more.Visible() }

// ToEnd moves to the end of the text.
func (f *Field) ToEnd() {
	f.CursorColumn = len([]rune(f.Text))
	f.Refresh()
}

// drawRing shows whether the field has the keyboard.
func (f *Field) drawRing() {
	if f.ring == nil {
		return
	}
	if f.focused {
		SetStroke(f.ring, ColAccent, 2)
	} else {
		SetStroke(f.ring, theme.ColorNameInputBorder, 1)
	}
}

// show brings what the frame shows in line with the field.
func (f *Field) show() {
	f.ellipsis()
	f.placeCursor()
	f.drawRing()
}

// Refresh implements fyne.Widget.
func (f *Field) Refresh() {
	f.Entry.Refresh()
	f.show()
}

// TypedShortcut implements fyne.Shortcutable.
func (f *Field) TypedShortcut(s fyne.Shortcut) {
	if _, ok := s.(*desktop.CustomShortcut); ok && f.OnShortcut != nil && f.OnShortcut(s) {
		return
	}
	f.Entry.TypedShortcut(s)
}

// TypedKey implements fyne.Focusable.
func (f *Field) TypedKey(e *fyne.KeyEvent) {
	switch {
	case e.Name == fyne.KeyDown && f.OnDown != nil:
		f.OnDown()
	case e.Name == fyne.KeyEscape, len(e.Name) > 1 && e.Name[0] == 'F' && e.Name[1] >= '1' && e.Name[1] <= '9':
		PassKey(f, e)
	default:
		f.Entry.TypedKey(e)
	}
}

// FocusGained implements fyne.Focusable.
func (f *Field) FocusGained() {
	f.focused = true
	f.Entry.FocusGained()
	f.show()
	Reveal(f)
}

// FocusLost implements fyne.Focusable.
func (f *Field) FocusLost() {
	f.focused = false
	f.Entry.FocusLost()
	f.ToEnd()
}
