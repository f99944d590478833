package kit

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Drawn is a widget that is made of parts, which it keeps as long as it lives. It embeds Base or Pressable, which
// draw it.
type Drawn interface {
	fyne.Widget
	Parts() []fyne.CanvasObject // all that is drawn, the hindmost first
	Apply()                     // has the parts show what the fields say now
	Place(s fyne.Size)          // puts the parts in their places
	Least() fyne.Size           // the size that it needs at least
}

// Base is what widgets have in common that cannot be pressed.
type Base struct {
	widget.BaseWidget
	whole Drawn
}

// Extend makes a widget out of what embeds this.
func (b *Base) Extend(whole Drawn) {
	b.whole = whole
	b.ExtendBaseWidget(whole)
}

// Apply does nothing: a widget whose look follows from its fields has one of its own.
func (b *Base) Apply() {}

// CreateRenderer implements fyne.Widget.
func (b *Base) CreateRenderer() fyne.WidgetRenderer { return newRenderer(b.whole) }

// renderer is how the toolkit draws a widget.
type renderer struct{ Drawn }

func newRenderer(w Drawn) renderer {
	w.Apply()
	if s := w.Size(); s.Width > 0 && s.Height > 0 {
		w.Place(s)
	}
	return renderer{w}
}

func (r renderer) Layout(s fyne.Size)           { r.Place(s) }
func (r renderer) MinSize() fyne.Size           { return r.Least() }
func (r renderer) Objects() []fyne.CanvasObject { return r.Parts() }
func (r renderer) Destroy()                     {}

// Refresh has everything show what it should. Shapes and letters are drawn anew by whoever changes them.
func (r renderer) Refresh() {
	r.Apply()
	r.Place(r.Size())
	for _, o := range r.Parts() {
		switch o.(type) {
		case fyne.Widget, *fyne.Container:
			o.Refresh()
		}
	}
}

// change sets a field of a widget, and has the widget drawn anew if it was something else.
func change[T comparable](field *T, to T, redraw func()) {
	if *field != to {
		*field = to
		redraw()
	}
}

// The setters here compare first: what is set to what it is already is not drawn again. Layouts and
// renderers use nothing else, so that a page that has settled stays still.

// NewBox makes an empty rectangle with corners of a radius.
func NewBox(round float32) *canvas.Rectangle {
	r := canvas.NewRectangle(color.Transparent)
	r.CornerRadius = round
	return r
}

// SetBounds moves and sizes a thing.
func SetBounds(o fyne.CanvasObject, x, y, w, h float32) {
	if p := fyne.NewPos(x, y); o.Position() != p {
		o.Move(p)
	}
	if s := fyne.NewSize(w, h); o.Size() != s {
		o.Resize(s)
	}
}

// SetVisible shows or hides a thing.
func SetVisible(o fyne.CanvasObject, on bool) {
	switch {
	case o.Visible() == on:
	case on:
		o.Show()
		Repaint(o) // shapes and containers show without telling the canvas
	default:
		o.Hide()
		Repaint(o)
	}
}

// SetFill fills a rectangle with a colour of the theme, or with nothing.
func SetFill(r *canvas.Rectangle, c fyne.ThemeColorName) {
	if fill := Paint(c); r.FillColor != fill {
		r.FillColor = fill
		r.Refresh()
	}
}

// SetStroke draws a border of a width around a rectangle; 0 takes it away.
func SetStroke(r *canvas.Rectangle, c fyne.ThemeColorName, width float32) {
	stroke := color.Color(color.Transparent)
	if width > 0 {
		stroke = Paint(c)
	}
	if r.StrokeWidth != width || width > 0 && r.StrokeColor != stroke {
		r.StrokeColor, r.StrokeWidth = stroke, width
		r.Refresh()
	}
}
