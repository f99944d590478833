package kit

import (
	"image/color"
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// scrollBar shows where in the rows the table stands. Its place is a share of their number, so it
// is exact for any number.
type scrollBar struct {
	widget.BaseWidget
	t     *Table
	thumb *canvas.Rectangle
}

// CreateRenderer implements fyne.Widget.
func (b *scrollBar) CreateRenderer() fyne.WidgetRenderer {
	b.thumb = canvas.NewRectangle(color.Transparent)
	b.thumb.CornerRadius = 4
	return &scrollBarRenderer{b}
}

// span returns where the thumb begins and how long it is; no length where all rows are shown.
func (b *scrollBar) span() (y, long float32) {
	n, high := float64(b.t.rows()), float64(b.Size().Height)
	seen := b.t.VisibleRows()
	if n <= seen || n == 0 {
		return 0, 0
	}
	l := math.Max(36, high*seen/n)
	return float32((high - l) * b.t.Top / b.t.lastTop()), float32(l)
}

// Dragged implements fyne.Draggable.
func (b *scrollBar) Dragged(e *fyne.DragEvent) {
	_, l := b.span()
	if free := float64(b.Size().Height - l); l > 0 && free > 0 {
		b.t.setTop(b.t.Top + float64(e.Dragged.DY)/free*b.t.lastTop())
	}
}

// DragEnd does nothing.
func (b *scrollBar) DragEnd() {}

// Tapped turns a page.
func (b *scrollBar) Tapped(e *fyne.PointEvent) {
	y, l := b.span()
	switch {
	case l == 0:
	case e.Position.Y < y:
		b.t.setTop(b.t.Top - b.t.VisibleRows() + 1)
	case e.Position.Y > y+l:
		b.t.setTop(b.t.Top + b.t.VisibleRows() - 1)
	}
}

type scrollBarRenderer struct{ b *scrollBar }

func (r *scrollBarRenderer) Layout(fyne.Size)             { r.Refresh() }
func (r *scrollBarRenderer) MinSize() fyne.Size           { return fyne.NewSize(scrollW, 36) }
func (r *scrollBarRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.b.thumb} }
func (r *scrollBarRenderer) Destroy()                     {}
func (r *scrollBarRenderer) Refresh() {
	y, l := r.b.span()
	r.b.thumb.FillColor = Paint(theme.ColorNameScrollBar)
	if r.b.thumb.Hidden = l == 0; l > 0 { // a bar of no length is drawn as a dash
		SetBounds(r.b.thumb, 2, y, 8, l)
	}
	r.b.thumb.Refresh()
}
