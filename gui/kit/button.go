package kit

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// ButtonKind is how loud a button is.
type ButtonKind uint8

const (
	Quiet   ButtonKind = iota // no ground until the pointer is over it
	Plain                     // a ground
	Primary                   // the one thing to do next
	Toggle                    // on or off: on has the ground of what is chosen
)

// Button does one thing, by pointer, Return or space.
type Button struct {
	widget.BaseWidget
	Kind      ButtonKind
	Icon      string // a mark; empty for none
	Label     string
	IconColor fyne.ThemeColorName // empty: as the label
	height    float32
	On        bool // of a toggle
	OnTapped  func()

	off, hovered, focused bool
	r                     *buttonRenderer
}

// NewButton makes a button; icon or label may be empty.
func NewButton(k ButtonKind, icon, label string, tap func()) *Button {
	b := &Button{Kind: k, Icon: icon, Label: label, OnTapped: tap, height: 34}
	b.ExtendBaseWidget(b)
	return b
}

// WithHeight sets another height than the usual one; it returns the button itself.
func (b *Button) WithHeight(h float32) *Button { b.height = h; return b }

// Set changes what the button says.
func (b *Button) Set(icon, label string) {
	if b.Icon != icon || b.Label != label {
		b.Icon, b.Label = icon, label
		b.Refresh()
	}
}

// SetKind changes how loud it is.
func (b *Button) SetKind(k ButtonKind) {
	if b.Kind != k {
		b.Kind = k
		b.Refresh()
	}
}

// SetOn switches a toggle.
func (b *Button) SetOn(on bool) {
	if b.On != on {
		b.On = on
		b.Refresh()
	}
}

// Enable, Disable and Disabled implement fyne.Disableable.
func (b *Button) Enable() {
	if b.off {
		b.off = false
		b.Refresh()
	}
}

// Disable greys the button out.
func (b *Button) Disable() {
	if !b.off {
		b.off = true
		b.Refresh()
	}
}

// Disabled reports whether it is greyed out.
func (b *Button) Disabled() bool { return b.off }

// Tapped implements fyne.Tappable.
func (b *Button) Tapped(*fyne.PointEvent) {
	if !b.off && b.OnTapped != nil {
		b.OnTapped()
	}
}

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (b *Button) MouseIn(*desktop.MouseEvent) { b.hovered = true; b.Refresh() }

// MouseMoved does nothing.
func (b *Button) MouseMoved(*desktop.MouseEvent) {}

// MouseOut takes the hover away.
func (b *Button) MouseOut() { b.hovered = false; b.Refresh() }

// FocusGained, FocusLost, TypedRune and TypedKey implement fyne.Focusable.
func (b *Button) FocusGained() { b.focused = true; b.Refresh(); Reveal(b) }

// FocusLost takes the ring away.
func (b *Button) FocusLost() { b.focused = false; b.Refresh() }

// TypedRune does nothing: the space bar comes as a key too.
func (b *Button) TypedRune(rune) {}

// TypedKey presses the button or passes the key on.
func (b *Button) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		b.Tapped(nil)
	default:
		PassKey(b, e)
	}
}

// Cursor implements desktop.Cursorable.
func (b *Button) Cursor() desktop.Cursor {
	if b.off {
		return desktop.DefaultCursor
	}
	return desktop.PointerCursor
}

// PassKey hands a key that a widget has no use for to the window.
func PassKey(o fyne.CanvasObject, e *fyne.KeyEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(o); c != nil {
		if f := c.OnTypedKey(); f != nil {
			f(e)
		}
	}
}

// CreateRenderer implements fyne.Widget.
func (b *Button) CreateRenderer() fyne.WidgetRenderer {
	r := &buttonRenderer{b: b, ground: canvas.NewRectangle(color.Transparent), veil: canvas.NewRectangle(color.Transparent)}
	r.mark = NewMark("open", ColText, 18)
	r.text = NewText("", SizeBody, ColText).Bold()
	b.r = r
	r.apply()
	return r
}

type buttonRenderer struct {
	b            *Button
	ground, veil *canvas.Rectangle
	mark         *Mark
	text         *Text
}

func (r *buttonRenderer) apply() {
	b := r.b
	fill, fg := fyne.ThemeColorName(""), ColText
	switch {
	case b.off && b.Kind != Quiet:
		fill, fg = theme.ColorNameDisabledButton, theme.ColorNameDisabled
	case b.off:
		fg = theme.ColorNameDisabled
	case b.Kind == Primary:
		fill, fg = ColAccent, colOnFill
	case b.Kind == Plain:
		fill = theme.ColorNameButton
	case b.Kind == Toggle && b.On:
		fill = colChip
	case b.Kind == Toggle: // filled: the edge of a border around nothing is drawn dark
		fill, fg = ColGround, ColMuted
	}
	for _, x := range []*canvas.Rectangle{r.ground, r.veil} {
		x.CornerRadius = 8
	}
	r.ground.FillColor = Paint(fill)
	r.ground.StrokeWidth = 0
	if b.Kind == Toggle {
		r.ground.StrokeColor, r.ground.StrokeWidth = Paint(ColLine), 1
	}
	r.veil.FillColor = color.Transparent
	if b.hovered && !b.off {
		r.veil.FillColor = Paint(theme.ColorNameHover)
	}
	r.veil.StrokeWidth = 0
	if b.focused {
		c := ColAccent
		if b.Kind == Primary {
			c = ColText
		}
		r.veil.StrokeColor, r.veil.StrokeWidth = Paint(c), 2
	}
	r.text.Set(b.Label, fg)
	tint := fg
	if b.IconColor != "" && !b.off && (b.Kind != Toggle || b.On) {
		tint = b.IconColor
	}
	if b.Icon == "" {
		r.mark.Hide()
	} else {
		r.mark.Set(b.Icon, tint)
		r.mark.Show()
	}
}

func (r *buttonRenderer) parts() (icon, text, gap float32) {
	if r.b.Icon != "" {
		icon = 18
	}
	if r.b.Label != "" {
		text = r.text.MinSize().Width
	}
	if icon > 0 && text > 0 {
		gap = 7
	}
	return icon, text, gap
}

func (r *buttonRenderer) Layout(s fyne.Size) {
	r.ground.Resize(s)
	r.veil.Resize(s)
	icon, text, gap := r.parts()
	x := (s.Width - icon - text - gap) / 2
	SetBounds(r.mark, x, (s.Height-18)/2, 18, 18)
	h := r.text.MinSize().Height
	SetBounds(r.text, x+icon+gap, (s.Height-h)/2, text, h)
}

func (r *buttonRenderer) MinSize() fyne.Size {
	icon, text, gap := r.parts()
	pad := float32(13)
	if text == 0 {
		pad = 8
	}
	return fyne.NewSize(icon+text+gap+2*pad, r.b.height)
}

func (r *buttonRenderer) Refresh() {
	r.apply()
	r.Layout(r.b.Size())
	r.ground.Refresh()
	r.veil.Refresh()
	r.mark.Refresh()
	r.text.Refresh()
}

func (r *buttonRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.ground, r.veil, r.mark, r.text}
}
func (r *buttonRenderer) Destroy() {}

// SetEnabled enables or greys out a button.
func SetEnabled(b *Button, on bool) {
	if on {
		b.Enable()
	} else {
		b.Disable()
	}
}
