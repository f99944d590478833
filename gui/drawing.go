package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// drawing is a picture made of plain shapes, drawn anew when its width, its data or the theme
// changes.
type drawing struct {
	widget.BaseWidget
	high func(w float32) float32
	draw func(p *pen)
	objs []fyne.CanvasObject
}

func newDrawing(high func(w float32) float32, draw func(p *pen)) *drawing {
	d := &drawing{high: high, draw: draw}
	d.ExtendBaseWidget(d)
	return d
}

func (d *drawing) HeightFor(w float32) float32 { return d.high(w) }

// CreateRenderer implements fyne.Widget.
func (d *drawing) CreateRenderer() fyne.WidgetRenderer {
	r := &drawingRenderer{d}
	r.Layout(d.Size())
	return r
}

type drawingRenderer struct{ d *drawing }

func (r *drawingRenderer) Layout(s fyne.Size) {
	if s.Width <= 0 {
		return
	}
	p := &pen{w: s.Width, h: s.Height}
	r.d.draw(p)
	r.d.objs = p.objs
}
func (r *drawingRenderer) MinSize() fyne.Size           { return fyne.NewSize(120, r.d.high(400)) }
func (r *drawingRenderer) Refresh()                     { r.Layout(r.d.Size()); fyneRefresh(r.d) }
func (r *drawingRenderer) Objects() []fyne.CanvasObject { return r.d.objs }
func (r *drawingRenderer) Destroy()                     {}

// fyneRefresh asks for the widget's area to be painted again.
func fyneRefresh(o fyne.CanvasObject) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(o); c != nil {
		c.Refresh(o)
	}
}

// pen draws in the colours of the theme.
type pen struct {
	w, h float32
	objs []fyne.CanvasObject
}

func (p *pen) box(x, y, w, h, round float32, c fyne.ThemeColorName) *canvas.Rectangle {
	r := canvas.NewRectangle(paint(c))
	r.CornerRadius = round
	setBounds(r, x, y, max(w, 0), h)
	p.objs = append(p.objs, r)
	return r
}

// word writes a text and returns its width. It is cut at the end where it is wider than room.
func (p *pen) word(x, y, room float32, s string, size float32, c fyne.ThemeColorName, style fyne.TextStyle) float32 {
	s = fit(s, room, cutEnd, func(s string) float32 { return measure(s, size, style).Width })
	t := canvas.NewText(s, paint(c))
	t.TextSize, t.TextStyle = size, style
	m := t.MinSize()
	setBounds(t, x, y, m.Width, m.Height)
	p.objs = append(p.objs, t)
	return m.Width
}

func (p *pen) mark(x, y, side float32, name string, c fyne.ThemeColorName) {
	i := canvas.NewImageFromResource(art(name, c, colSurface))
	i.FillMode = canvas.ImageFillContain
	setBounds(i, x, y, side, side)
	p.objs = append(p.objs, i)
}
