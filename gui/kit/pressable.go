package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// Pressable is what all widgets that can be pressed have in common: they answer to the pointer, to Return and
// space, show where the pointer and the focus are, and do nothing while they are disabled. A widget embeds it.
type Pressable struct {
	widget.DisableableWidget
	OnTapped func()

	hovered, focused bool
	whole            Drawn
	draw             func()
}

// Extend makes a widget out of what embeds this; draw shows what has changed, nil for all of the widget.
func (p *Pressable) Extend(whole Drawn, draw func()) {
	if draw == nil {
		draw = whole.Refresh
	}
	p.whole, p.draw = whole, draw
	p.ExtendBaseWidget(whole)
}

// CreateRenderer implements fyne.Widget.
func (p *Pressable) CreateRenderer() fyne.WidgetRenderer { return newRenderer(p.whole) }

// Press does what the widget is for.
func (p *Pressable) Press() {
	if !p.Disabled() && p.OnTapped != nil {
		p.OnTapped()
	}
}

// Tapped implements fyne.Tappable.
func (p *Pressable) Tapped(*fyne.PointEvent) { p.Press() }

// SetHovered tells whether the pointer is over what can be pressed.
func (p *Pressable) SetHovered(on bool) { change(&p.hovered, on, p.draw) }

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (p *Pressable) MouseIn(*desktop.MouseEvent) { p.SetHovered(true) }

// MouseMoved does nothing.
func (p *Pressable) MouseMoved(*desktop.MouseEvent) {}

// MouseOut takes the hover away.
func (p *Pressable) MouseOut() { p.SetHovered(false) }

// FocusGained, FocusLost, TypedRune and TypedKey implement fyne.Focusable.
func (p *Pressable) FocusGained() { p.focused = true; p.draw(); Reveal(p.whole) }

// FocusLost takes the ring away.
func (p *Pressable) FocusLost() { p.focused = false; p.draw() }

// Focused reports whether keys go to the widget.
func (p *Pressable) Focused() bool { return p.focused }

// TypedRune does nothing: the space bar comes as a key too.
func (p *Pressable) TypedRune(rune) {}

// TypedKey presses the widget or passes the key on.
func (p *Pressable) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		p.Press()
	default:
		PassKey(p.whole, e)
	}
}

// Cursor implements desktop.Cursorable.
func (p *Pressable) Cursor() desktop.Cursor {
	if p.Disabled() {
		return desktop.DefaultCursor
	}
	return desktop.PointerCursor
}

// Veil is the color that lies over the widget, none unless the pointer does too.
func (p *Pressable) Veil() fyne.ThemeColorName {
	if p.hovered && !p.Disabled() {
		return theme.ColorNameHover
	}
	return ""
}

// Ring is how wide the ring around the widget is, none unless it has the focus.
func (p *Pressable) Ring() float32 {
	if p.focused {
		return 2
	}
	return 0
}

// SetEnabled enables a widget, or greys it out.
func SetEnabled(o fyne.Disableable, on bool) {
	if on {
		o.Enable()
	} else {
		o.Disable()
	}
}

// PassKey hands a key that a widget has no use for to the window.
func PassKey(o fyne.CanvasObject, e *fyne.KeyEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(o); c != nil {
		if f := c.OnTypedKey(); f != nil {
			f(e)
		}
	}
}
