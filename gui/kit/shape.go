package kit

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

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
