package gui

import (
	"fmt"

	"fyne.io/fyne/v2"
)

// load is what a gauge shows, all in bytes.
type load struct {
	total, used, copy int64
	line              int64 // most that may be in use when the copy is done: the load line
}

// over is how far the copy passes the end of the share; 0 if it fits.
func (l load) over() int64 { return max(l.used+l.copy-l.total, 0) }

// safe reports whether the copy stays below the load line.
func (l load) safe() bool { return l.used+l.copy <= l.line }

const gaugeHeight = 58

// newGauge draws a share: what is in use, this copy, what is left, and the load line across it. Bytes
// writes a number of bytes for people.
func newGauge(get func() load, bytes func(int64) string) *drawing {
	return newDrawing(func(float32) float32 { return gaugeHeight }, func(p *pen) { drawGauge(p, get(), bytes) })
}

func drawGauge(p *pen, l load, bytes func(int64) string) {
	if l.total <= 0 {
		return
	}
	const top, high = 18, 16
	span := float64(max(l.total, l.used+l.copy))
	at := func(n int64) float32 { return float32(float64(n) / span * float64(p.w)) }
	end := at(l.total)
	bed := p.box(0, top, end, high, 5, colInset)
	bed.StrokeColor, bed.StrokeWidth = paint(colLine), 1
	fill := colAccent
	switch {
	case l.over() > 0:
		fill = colFail
	case !l.safe():
		fill = colWarn
	}
	x := at(l.used)
	if l.copy > 0 {
		p.box(0, top, max(at(l.used+l.copy), 3), high, 5, fill)
		if l.used > 0 {
			p.box(0, top, max(x, 3), high, 5, colUsed)
			p.box(max(x, 3)-1, top, 2, high, 0, colSurface) // a seam: the border does not rest on colour
		}
	} else {
		p.box(0, top, max(x, 3), high, 5, colUsed)
	}
	if l.over() > 0 { // where the share ends
		p.box(end-1, top-3, 2, high+6, 0, colText)
	}
	mark := at(l.line)
	p.box(mark-2, top-4, 4, high+8, 2, colMark)
	label := "Load line " + bytes(l.line)
	w := measure(label, sizeSmall, fyne.TextStyle{}).Width
	p.word(min(max(mark-w/2, 0), p.w-w), 0, 0, label, sizeSmall, colMuted, fyne.TextStyle{})

	y := float32(top + high + 7)
	x = 0
	key := func(c fyne.ThemeColorName, what string, n int64) {
		s := fmt.Sprintf("%s %s", what, bytes(n))
		if x > 0 && x+18+measure(s, sizeSmall, fyne.TextStyle{}).Width > p.w {
			return
		}
		b := p.box(x, y+3, 10, 10, 3, c)
		if c == colInset {
			b.StrokeColor, b.StrokeWidth = paint(colMuted), 1
		}
		x += 16 + p.word(x+16, y, p.w-x-16, s, sizeSmall, colMuted, fyne.TextStyle{}) + 18
	}
	key(colUsed, "In use", l.used)
	key(fill, "This copy", l.copy)
	if o := l.over(); o > 0 {
		key(colFail, "Too much by", o)
	} else {
		key(colInset, "Left", l.total-l.used-l.copy)
	}
}
