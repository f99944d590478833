package gui

import (
	"math"

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

func (d *drawing) heightFor(w float32) float32 { return d.high(w) }

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

// progressBar is a thin bar that fills from the left. While nothing is known of the end, a piece of it
// wanders with every step that is shown: it moves only when there is something new.
type progressBar struct {
	widget.BaseWidget
	value    float64 // 0 to 1; negative while unknown
	sweep    float64 // where the piece is then, 0 to 1
	bed, run *canvas.Rectangle
}

func newProgressBar() *progressBar {
	m := &progressBar{}
	m.ExtendBaseWidget(m)
	return m
}

func (m *progressBar) set(v float64) {
	if v != m.value {
		m.value = v
		m.Refresh()
	}
}

// setUnknown shows that the end is unknown; at tells where the piece is.
func (m *progressBar) setUnknown(at float64) {
	m.value = -1
	m.sweep = math.Abs(math.Mod(at, 2) - 1) // to and fro
	m.Refresh()
}

// CreateRenderer implements fyne.Widget.
func (m *progressBar) CreateRenderer() fyne.WidgetRenderer {
	m.bed, m.run = canvas.NewRectangle(paint(colLine)), canvas.NewRectangle(paint(colAccent))
	m.bed.CornerRadius, m.run.CornerRadius = 3, 3
	return &progressBarRenderer{m}
}

type progressBarRenderer struct{ m *progressBar }

func (r *progressBarRenderer) Layout(s fyne.Size) {
	setBounds(r.m.bed, 0, (s.Height-6)/2, s.Width, 6)
	if r.m.value < 0 {
		w := s.Width * 0.16
		setBounds(r.m.run, (s.Width-w)*float32(r.m.sweep), (s.Height-6)/2, w, 6)
		return
	}
	v := min(r.m.value, 1)
	w := s.Width * float32(v)
	if v > 0 {
		w = max(w, 6)
	}
	setBounds(r.m.run, 0, (s.Height-6)/2, w, 6)
}
func (r *progressBarRenderer) MinSize() fyne.Size { return fyne.NewSize(60, 6) }
func (r *progressBarRenderer) Refresh() {
	r.m.bed.FillColor, r.m.run.FillColor = paint(colLine), paint(colAccent)
	r.Layout(r.m.Size())
	r.m.bed.Refresh()
	r.m.run.Refresh()
}

func (r *progressBarRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.m.bed, r.m.run}
}
func (r *progressBarRenderer) Destroy() {}
