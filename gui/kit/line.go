package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// Line draws a straight line of a width.
func (p *Pen) Line(x1, y1, x2, y2, width float32, c fyne.ThemeColorName) {
	l := canvas.NewLine(Paint(c))
	l.StrokeWidth = width
	l.Position1, l.Position2 = fyne.NewPos(x1, y1), fyne.NewPos(x2, y2)
	p.objs = append(p.objs, l)
}
