package kit

import (
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// scrolling is what a scroll bar stands for, in units of its own: rows, or points.
type scrolling interface {
	extent() float64 // of everything
	view() float64   // of what is seen
	at() float64     // how far it is scrolled
	setAt(v float64) // scrolls there, or as far as there is something
	page() float64   // how far a press beside the thumb scrolls
}

// scrollBar shows where something is scrolled to. Its place is a share of the whole, so it is exact
// for any number of rows.
type scrollBar struct {
	Base
	of    scrolling
	thumb *canvas.Rectangle
}

func newScrollBar(of scrolling) *scrollBar {
	b := &scrollBar{of: of, thumb: NewBox(4)}
	b.thumb.Hidden = true
	b.Extend(b)
	return b
}

// span returns where the thumb begins and how long it is; no length where everything is seen.
func (b *scrollBar) span() (y, long float32) {
	all, seen, high := b.of.extent(), b.of.view(), float64(b.Size().Height)
	if all <= seen || all == 0 {
		return 0, 0
	}
	l := math.Max(36, high*seen/all)
	return float32((high - l) * b.of.at() / (all - seen)), float32(l)
}

// update moves the thumb to where it belongs.
func (b *scrollBar) update() {
	y, l := b.span()
	SetFill(b.thumb, colThumb)
	SetVisible(b.thumb, l > 0) // a bar of no length is drawn as a dash
	if l > 0 {
		SetBounds(b.thumb, 2, y, 8, l)
	}
}

// Dragged implements fyne.Draggable.
func (b *scrollBar) Dragged(e *fyne.DragEvent) {
	_, l := b.span()
	if free := float64(b.Size().Height - l); l > 0 && free > 0 {
		b.of.setAt(b.of.at() + float64(e.Dragged.DY)/free*(b.of.extent()-b.of.view()))
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
		b.of.setAt(b.of.at() - b.of.page())
	case e.Position.Y > y+l:
		b.of.setAt(b.of.at() + b.of.page())
	}
}

// Place, Least and Parts implement Drawn.
func (b *scrollBar) Place(fyne.Size)            { b.update() }
func (b *scrollBar) Least() fyne.Size           { return fyne.NewSize(scrollW, 36) }
func (b *scrollBar) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{b.thumb} }
