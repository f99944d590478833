package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Drawing is a picture made of plain shapes, drawn anew when its width, its data or the theme
// changes.
type Drawing struct {
	widget.BaseWidget
	high func(w float32) float32
	draw func(p *Pen)
	objs []fyne.CanvasObject
}

// NewDrawing makes a drawing; high says how high it wants to be at a width, draw draws it.
func NewDrawing(high func(w float32) float32, draw func(p *Pen)) *Drawing {
	d := &Drawing{high: high, draw: draw}
	d.ExtendBaseWidget(d)
	return d
}

// HeightFor returns the height that it wants at a width.
func (d *Drawing) HeightFor(w float32) float32 { return d.high(w) }

// CreateRenderer implements fyne.Widget.
func (d *Drawing) CreateRenderer() fyne.WidgetRenderer {
	r := &drawingRenderer{d: d}
	r.Layout(d.Size())
	return r
}

type drawingRenderer struct {
	d    *Drawing
	size fyne.Size // that it was drawn for
}

// Layout draws only for another size: new shapes would have the toolkit lay out again, for ever.
func (r *drawingRenderer) Layout(s fyne.Size) {
	if s != r.size {
		r.draw(s)
	}
}

func (r *drawingRenderer) draw(s fyne.Size) {
	r.size = s
	if s.Width <= 0 || s.Height <= 0 { // not shown
		r.d.objs = nil
		return
	}
	p := &Pen{Width: s.Width}
	r.d.draw(p)
	r.d.objs = p.objs
}

func (r *drawingRenderer) MinSize() fyne.Size { return fyne.NewSize(120, r.d.high(400)) }

// Refresh draws anew what the data say now.
func (r *drawingRenderer) Refresh() {
	r.draw(r.d.Size())
	canvas.Refresh(r.d)
}
func (r *drawingRenderer) Objects() []fyne.CanvasObject { return r.d.objs }
func (r *drawingRenderer) Destroy()                     {}

// Pen draws in the colours of the theme.
type Pen struct {
	Width float32
	objs  []fyne.CanvasObject
}

// Box draws a filled box with round corners; its stroke can be set afterwards.
func (p *Pen) Box(x, y, w, h, round float32, c fyne.ThemeColorName) *canvas.Rectangle {
	r := canvas.NewRectangle(Paint(c))
	r.CornerRadius = round
	SetBounds(r, x, y, max(w, 0), h)
	p.objs = append(p.objs, r)
	return r
}

// Word writes a text and returns its width. It is cut at the end where it is wider than room.
func (p *Pen) Word(x, y, room float32, s string, size float32, c fyne.ThemeColorName, style fyne.TextStyle) float32 {
	s = Fit(s, room, CutEnd, func(s string) float32 { return Measure(s, size, style).Width })
	t := canvas.NewText(s, Paint(c))
	t.TextSize, t.TextStyle = size, style
	m := t.MinSize()
	SetBounds(t, x, y, m.Width, m.Height)
	p.objs = append(p.objs, t)
	return m.Width
}

// Mark draws a mark from assets.
func (p *Pen) Mark(x, y, side float32, name string, c fyne.ThemeColorName) {
	i := canvas.NewImageFromResource(art(name, c, ColSurface, side))
	i.FillMode = canvas.ImageFillContain
	SetBounds(i, x, y, side, side)
	p.objs = append(p.objs, i)
}
