package kit

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// Fold is one line that stands for more: it says what is set, and opens it when it is pressed.
type Fold struct {
	widget.BaseWidget
	OnTapped func()

	icon             string
	text, action     string
	panel            bool // has a ground and a border of its own
	height           float32
	hovered, focused bool
	off              bool
	r                *foldRenderer
}

// NewFold makes a line; action says what a press does. Icon may be empty.
func NewFold(icon, action string, tap func()) *Fold {
	f := &Fold{icon: icon, action: action, OnTapped: tap, height: 36}
	f.ExtendBaseWidget(f)
	return f
}

// Panel gives the line a ground and a border; it returns the line itself.
func (f *Fold) Panel() *Fold { f.panel, f.height = true, 42; return f }

// Text is what the line says.
func (f *Fold) Text() string { return f.text }

// Set changes what the line says, and what a press does.
func (f *Fold) Set(text, action string) {
	if f.text != text || f.action != action {
		f.text, f.action = text, action
		f.update()
	}
}

// Enable, Disable and Disabled implement fyne.Disableable.
func (f *Fold) Enable() { f.off = false; f.update() }

// Disable keeps the line as it is: it still says what is set.
func (f *Fold) Disable() { f.off = true; f.update() }

// Disabled reports whether a press does nothing.
func (f *Fold) Disabled() bool { return f.off }

func (f *Fold) update() {
	if f.r != nil {
		f.r.Refresh()
	}
}

// Tapped implements fyne.Tappable.
func (f *Fold) Tapped(*fyne.PointEvent) {
	if !f.off && f.OnTapped != nil {
		f.OnTapped()
	}
}

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (f *Fold) MouseIn(*desktop.MouseEvent) { f.hovered = true; f.update() }

// MouseMoved does nothing.
func (f *Fold) MouseMoved(*desktop.MouseEvent) {}

// MouseOut takes the hover away.
func (f *Fold) MouseOut() { f.hovered = false; f.update() }

// FocusGained, FocusLost, TypedRune and TypedKey implement fyne.Focusable.
func (f *Fold) FocusGained() { f.focused = true; f.update(); Reveal(f) }

// FocusLost takes the ring away.
func (f *Fold) FocusLost() { f.focused = false; f.update() }

// TypedRune does nothing.
func (f *Fold) TypedRune(rune) {}

// TypedKey opens by Return and space.
func (f *Fold) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		f.Tapped(nil)
	default:
		PassKey(f, e)
	}
}

// Cursor implements desktop.Cursorable.
func (f *Fold) Cursor() desktop.Cursor {
	if f.off {
		return desktop.DefaultCursor
	}
	return desktop.PointerCursor
}

// CreateRenderer implements fyne.Widget.
func (f *Fold) CreateRenderer() fyne.WidgetRenderer {
	r := &foldRenderer{
		f: f, ground: canvas.NewRectangle(color.Transparent), veil: canvas.NewRectangle(color.Transparent),
		mark: NewMark("open", ColAccent, markSide), text: NewText("", SizeBody, ColText).Truncated(),
		action: NewText("", SizeBody, ColAccent).Bold(),
	}
	r.ground.CornerRadius, r.veil.CornerRadius = radius, 8
	f.r = r
	r.apply()
	return r
}

type foldRenderer struct {
	f            *Fold
	ground, veil *canvas.Rectangle
	mark         *Mark
	text, action *Text
}

func (r *foldRenderer) apply() {
	f := r.f
	ground, border := fyne.ThemeColorName(""), float32(0)
	if f.panel {
		ground, border = ColSurface, 1
	}
	SetFill(r.ground, ground)
	SetStroke(r.ground, ColLine, border)
	over, ring := fyne.ThemeColorName(""), float32(0)
	if f.hovered && !f.off {
		over = theme.ColorNameHover
	}
	if f.focused {
		ring = 2
	}
	SetFill(r.veil, over)
	SetStroke(r.veil, ColAccent, ring)
	SetVisible(r.mark, f.icon != "")
	if f.icon != "" {
		r.mark.Set(f.icon, ColAccent)
	}
	r.text.Set(f.text, ColText)
	c := ColAccent
	if f.off {
		c = theme.ColorNameDisabled
	}
	r.action.Set(f.action, c)
}

func (r *foldRenderer) Layout(s fyne.Size) {
	const pad = 12
	SetBounds(r.ground, 0, 0, s.Width, s.Height)
	SetBounds(r.veil, 2, 2, s.Width-4, s.Height-4)
	x := float32(pad)
	if r.f.icon != "" {
		SetBounds(r.mark, x, (s.Height-markSide)/2, markSide, markSide)
		x += markSide + 9
	}
	w := r.action.MinSize().Width
	SetBounds(r.action, s.Width-pad-w, 0, w, s.Height)
	SetBounds(r.text, x, 0, max(s.Width-pad-w-14-x, 0), s.Height)
}

func (r *foldRenderer) MinSize() fyne.Size { return fyne.NewSize(160, r.f.height) }

func (r *foldRenderer) Refresh() {
	r.apply()
	r.Layout(r.f.Size())
	r.text.Refresh()
	r.action.Refresh()
	r.mark.Refresh()
}

func (r *foldRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.ground, r.mark, r.text, r.action, r.veil}
}
func (r *foldRenderer) Destroy() {}
