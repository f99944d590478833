package gui

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// kind is how loud a button is.
type kind uint8

const (
	quiet   kind = iota // no ground until the pointer is over it
	plain               // a ground
	primary             // the one thing to do next
	toggle              // on or off: on has the ground of what is chosen
)

// button does one thing, by pointer, Return or space.
type button struct {
	widget.BaseWidget
	kind     kind
	icon     string // a mark; empty for none
	label    string
	iconTint fyne.ThemeColorName // empty: as the label
	height   float32
	on       bool // of a toggle
	tap      func()

	off, hovered, focused bool
	r                     *buttonRenderer
}

func newButton(k kind, icon, label string, tap func()) *button {
	b := &button{kind: k, icon: icon, label: label, tap: tap, height: 34}
	b.ExtendBaseWidget(b)
	return b
}

func (b *button) high(h float32) *button { b.height = h; return b }

// set changes what the button says.
func (b *button) set(icon, label string) {
	if b.icon != icon || b.label != label {
		b.icon, b.label = icon, label
		b.Refresh()
	}
}

func (b *button) setKind(k kind) {
	if b.kind != k {
		b.kind = k
		b.Refresh()
	}
}

func (b *button) setOn(on bool) {
	if b.on != on {
		b.on = on
		b.Refresh()
	}
}

// Enable, Disable and Disabled implement fyne.Disableable.
func (b *button) Enable() {
	if b.off {
		b.off = false
		b.Refresh()
	}
}

// Disable greys the button out.
func (b *button) Disable() {
	if !b.off {
		b.off = true
		b.Refresh()
	}
}

// Disabled reports whether it is greyed out.
func (b *button) Disabled() bool { return b.off }

// Tapped implements fyne.Tappable.
func (b *button) Tapped(*fyne.PointEvent) {
	if !b.off && b.tap != nil {
		b.tap()
	}
}

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (b *button) MouseIn(*desktop.MouseEvent) { b.hovered = true; b.Refresh() }

// MouseMoved does nothing.
func (b *button) MouseMoved(*desktop.MouseEvent) {}

// MouseOut takes the hover away.
func (b *button) MouseOut() { b.hovered = false; b.Refresh() }

// FocusGained, FocusLost, TypedRune and TypedKey implement fyne.Focusable.
func (b *button) FocusGained() { b.focused = true; b.Refresh(); reveal(b) }

// FocusLost takes the ring away.
func (b *button) FocusLost() { b.focused = false; b.Refresh() }

// TypedRune does nothing: the space bar comes as a key too.
func (b *button) TypedRune(rune) {}

// TypedKey presses the button or passes the key on.
func (b *button) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		b.Tapped(nil)
	default:
		passKey(b, e)
	}
}

// Cursor implements desktop.Cursorable.
func (b *button) Cursor() desktop.Cursor {
	if b.off {
		return desktop.DefaultCursor
	}
	return desktop.PointerCursor
}

// passKey hands a key that a widget has no use for to the window.
func passKey(o fyne.CanvasObject, e *fyne.KeyEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(o); c != nil {
		if f := c.OnTypedKey(); f != nil {
			f(e)
		}
	}
}

// CreateRenderer implements fyne.Widget.
func (b *button) CreateRenderer() fyne.WidgetRenderer {
	r := &buttonRenderer{b: b, ground: canvas.NewRectangle(color.Transparent), veil: canvas.NewRectangle(color.Transparent)}
	r.mark = newMark("open", colText, 18)
	r.text = newText("", sizeBody, colText).bold()
	b.r = r
	r.apply()
	return r
}

type buttonRenderer struct {
	b            *button
	ground, veil *canvas.Rectangle
	mark         *mark
	text         *textLine
}

func (r *buttonRenderer) apply() {
	b := r.b
	fill, fg := fyne.ThemeColorName(""), colText
	switch {
	case b.off && b.kind != quiet:
		fill, fg = theme.ColorNameDisabledButton, theme.ColorNameDisabled
	case b.off:
		fg = theme.ColorNameDisabled
	case b.kind == primary:
		fill, fg = colAccent, colOnFill
	case b.kind == plain:
		fill = theme.ColorNameButton
	case b.kind == toggle && b.on:
		fill = colChip
	case b.kind == toggle: // filled: the edge of a border around nothing is drawn dark
		fill, fg = colGround, colMuted
	}
	for _, x := range []*canvas.Rectangle{r.ground, r.veil} {
		x.CornerRadius = 8
	}
	r.ground.FillColor = paint(fill)
	r.ground.StrokeWidth = 0
	if b.kind == toggle {
		r.ground.StrokeColor, r.ground.StrokeWidth = paint(colLine), 1
	}
	r.veil.FillColor = color.Transparent
	if b.hovered && !b.off {
		r.veil.FillColor = paint(theme.ColorNameHover)
	}
	r.veil.StrokeWidth = 0
	if b.focused {
		c := colAccent
		if b.kind == primary {
			c = colText
		}
		r.veil.StrokeColor, r.veil.StrokeWidth = paint(c), 2
	}
	r.text.set(b.label, fg)
	tint := fg
	if b.iconTint != "" && !b.off && (b.kind != toggle || b.on) {
		tint = b.iconTint
	}
	if b.icon == "" {
		r.mark.Hide()
	} else {
		r.mark.set(b.icon, tint)
		r.mark.Show()
	}
}

func (r *buttonRenderer) parts() (icon, text, gap float32) {
	if r.b.icon != "" {
		icon = 18
	}
	if r.b.label != "" {
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
	setBounds(r.mark, x, (s.Height-18)/2, 18, 18)
	h := r.text.MinSize().Height
	setBounds(r.text, x+icon+gap, (s.Height-h)/2, text, h)
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

func able(b *button, on bool) {
	if on {
		b.Enable()
	} else {
		b.Disable()
	}
}
