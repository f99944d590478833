package kit

import (
	"fmt"

	"fyne.io/fyne/v2"
)

// Load is what a gauge shows, all in bytes.
type Load struct {
	Total, Used, Copy int64
	Line              int64 // most that may be in use when the copy is done: the load line
}

// Over is how far the copy passes the end of the share; 0 if it fits.
func (l Load) Over() int64 { return max(l.Used+l.Copy-l.Total, 0) }

// Safe reports whether the copy stays below the load line.
func (l Load) Safe() bool { return l.Used+l.Copy <= l.Line }

const gaugeHeight = 58

// NewGauge draws a share: what is in use, this copy, what is left, and the load line across it. Bytes
// writes a number of bytes for people.
func NewGauge(get func() Load, bytes func(int64) string) *Drawing {
	return NewDrawing(func(float32) float32 { return gaugeHeight }, func(p *Pen) { drawGauge(p, get(), bytes) })
}

func drawGauge(p *Pen, l Load, bytes func(int64) string) {
	if l.Total <= 0 {
		return
	}
	const top, high = 18, 16
	span := float64(max(l.Total, l.Used+l.Copy))
	at := func(n int64) float32 { return float32(float64(n) / span * float64(p.Width)) }
	end := at(l.Total)
	bed := p.Box(0, top, end, high, 5, ColInset)
	bed.StrokeColor, bed.StrokeWidth = Paint(ColLine), 1
	fill := ColAccent
	switch {
	case l.Over() > 0:
		fill = ColFail
	case !l.Safe():
		fill = ColWarn
	}
	x := at(l.Used)
	if l.Copy > 0 {
		p.Box(0, top, max(at(l.Used+l.Copy), 3), high, 5, fill)
		if l.Used > 0 {
			p.Box(0, top, max(x, 3), high, 5, ColUsed)
			p.Box(max(x, 3)-1, top, 2, high, 0, ColSurface) // a seam: the border does not rest on colour
		}
	} else {
		p.Box(0, top, max(x, 3), high, 5, ColUsed)
	}
	if l.Over() > 0 { // where the share ends
		p.Box(end-1, top-3, 2, high+6, 0, ColText)
	}
	mark := at(l.Line)
	p.Box(mark-2, top-4, 4, high+8, 2, ColMark)
	label := "Load line " + bytes(l.Line)
	w := Measure(label, SizeSmall, fyne.TextStyle{}).Width
	p.Word(min(max(mark-w/2, 0), p.Width-w), 0, 0, label, SizeSmall, ColMuted, fyne.TextStyle{})

	y := float32(top + high + 7)
	x = 0
	key := func(c fyne.ThemeColorName, what string, n int64) {
		s := fmt.Sprintf("%s %s", what, bytes(n))
		if x > 0 && x+18+Measure(s, SizeSmall, fyne.TextStyle{}).Width > p.Width {
			return
		}
		b := p.Box(x, y+3, 10, 10, 3, c)
		if c == ColInset {
			b.StrokeColor, b.StrokeWidth = Paint(ColMuted), 1
		}
		x += 16 + p.Word(x+16, y, p.Width-x-16, s, SizeSmall, ColMuted, fyne.TextStyle{}) + 18
	}
	key(ColUsed, "In use", l.Used)
	key(fill, "This copy", l.Copy)
	if o := l.Over(); o > 0 {
		key(ColFail, "Too much by", o)
	} else {
		key(ColInset, "Left", l.Total-l.Used-l.Copy)
	}
}
