package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// Drawing is a picture made of plain shapes, drawn anew when its width, its data or the theme
// changes.
type Drawing struct {
	Base
	high  func(w float32) float32
	draw  func(p *Pen)
	drawn fyne.Size // what it was drawn for; negative: it must be drawn anew
	objs  []fyne.CanvasObject
}

// NewDrawing makes a drawing; high says how high it wants to be at a width, draw draws it.
func NewDrawing(high func(w float32) float32, draw func(p *Pen)) *Drawing {
	d := &Drawing{high: high, draw: draw}
	d.Extend(d)
	return d
}

// HeightFor returns the height that it wants at a width.
func (d *Drawing) HeightFor(w float32) float32 { return d.high(w) }

// Apply has it drawn anew, from what the data say now.
func (d *Drawing) Apply() {
	d.drawn = fyne.NewSquareSize(-1)
	canvas.Refresh(d)
}

// Place draws only for another size: new shapes would have the toolkit lay out again, for ever.
func (d *Drawing) Place(s fyne.Size) {
	if s == d.drawn {
		return
	}
	d.drawn, d.objs = s, nil
	if s.Width > 0 && s.Height > 0 {
		p := &Pen{Width: s.Width}
		d.draw(p)
		d.objs = p.objs
	}
}

// Least and Parts implement Drawn.
func (d *Drawing) Least() fyne.Size           { return fyne.NewSize(120, d.high(400)) }
func (d *Drawing) Parts() []fyne.CanvasObject { return d.objs }

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

// Line draws a straight line of a width.
func (p *Pen) Line(x1, y1, x2, y2, width float32, c fyne.ThemeColorName) {
	l := canvas.NewLine(Paint(c))
	l.StrokeWidth = width
	l.Position1, l.Position2 = fyne.NewPos(x1, y1), fyne.NewPos(x2, y2)
	p.objs = append(p.objs, l)
}
