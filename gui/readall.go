package gui

import (
	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/gui/kit"
)

// checkReads is the check that can read every file of the source to its last byte.
const checkReads = "every-byte-reads"

// ReadAll runs the checks before copying and reads the whole disk in them.
func (w *Window) ReadAll() {
	if w.running == w.stage {
		w.tellWhile(w.whileRunning(), checks.Waiting, "A check is still running. You can read the whole disk when it has finished.")
		return
	}
	w.check(true)
	w.warnOfSleep()
}

// ruleSameContent is the rule that a file has the same content as another.
const ruleSameContent = "same-content"

// offersReading reports whether a card offers to read the whole disk.
func offersReading(k *card) bool {
	return k.check.ID == checkReads && (k.result == nil || k.result.Status != checks.Passed)
}

// rateCurve is how fast a disk gave its bytes over one reading.
type rateCurve struct {
	points []digest.Point
	bad    []int64 // how many bytes had been read at each bad place
}

// curveOf reads the curve from the result of the check that reads every file; false where there is none.
func curveOf(r *checks.Result) (rateCurve, bool) {
	var c rateCurve
	for _, f := range r.Facts {
		switch v := f.Value.(type) {
		case []digest.Point:
			c.points = v
		case []int64:
			if f.Key == "bad_at" {
				c.bad = v
			}
		}
	}
	return c, len(c.points) > 1
}

// Sizes of the curve.
const (
	curveHigh  = 96
	curveLabel = 96
	curveFoot  = 20
)

// newRateCurve draws the rate over the whole disk as a line, and marks the bad places on it.
func newRateCurve(get func() rateCurve) *kit.Drawing {
	return kit.NewDrawing(
		func(float32) float32 { return curveHigh },
		func(p *kit.Pen) { drawRateCurve(p, get()) })
}

func drawRateCurve(p *kit.Pen, c rateCurve) {
	if len(c.points) < 2 {
		return
	}
	most, end := 0.0, max(c.points[len(c.points)-1].At, 1)
	for _, q := range c.points {
		most = max(most, q.Rate)
	}
	for _, at := range c.bad {
		end = max(end, at)
	}
	if most <= 0 {
		return
	}
	const left, top, base = curveLabel, 16, curveHigh - curveFoot
	room := p.Width - left - 12
	x := func(at int64) float32 { return left + float32(float64(at)/float64(end))*room }
	y := func(rate float64) float32 { return base - float32(rate/most)*(base-top) }
	plain := fyne.TextStyle{}
	p.Word(0, top-9, left-10, checks.Rate(most), kit.SizeSmall, kit.ColMuted, plain)
	p.Word(0, base-9, left-10, "0", kit.SizeSmall, kit.ColMuted, plain)
	p.Line(left, base, left+room, base, 1, kit.ColLine)
	p.Line(left, top, left+room, top, 1, kit.ColLine)
	for i := 1; i < len(c.points); i++ {
		a, b := c.points[i-1], c.points[i]
		p.Line(x(a.At), y(a.Rate), x(b.At), y(b.Rate), 2, kit.ColAccent)
	}
	bad := levelBadge(checks.Fail)
	last := float32(-20)
	for _, at := range c.bad {
		if at := x(at); at >= last+6 { // closer marks would be one
			p.Line(at, top, at, base, 1, bad.Color)
			p.Mark(at-6, 1, 12, bad.Mark, bad.Color)
			last = at
		}
	}
	p.Word(left, base+3, 0, "start", kit.SizeSmall, kit.ColMuted, plain)
	words := checks.Bytes(end) + " read"
	p.Word(left+room-kit.Measure(words, kit.SizeSmall, plain).Width, base+3, 0, words, kit.SizeSmall, kit.ColMuted, plain)
}
