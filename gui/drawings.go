package gui

import (
	"time"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/gui/kit"
)

// The drawings in the window: for each, what it shows, read from a report, and how it is drawn.

// loadOf reads the gauge's numbers from a report; ok is false where the share's size is unknown.
func loadOf(space *checks.Result, share *checks.Place, totals checks.Totals) (kit.Load, bool) {
	l := kit.Load{Total: -1, Copy: totals.Bytes}
	free := int64(-1)
	if share != nil {
		l.Total, free = share.Total, share.Free
	}
	spare := int64(-1)
	if space != nil {
		if v, ok := whole(space, "need_bytes"); ok {
			l.Copy = v
		}
		if v, ok := whole(space, "free_bytes"); ok {
			free = v
		}
		if v, ok := whole(space, "total_bytes"); ok {
			l.Total = v
		}
		if v, ok := whole(space, "left_bytes"); ok { // what already is there is not copied again
			l.Copy = free - v
		}
		if v, ok := whole(space, "margin_bytes"); ok {
			spare = v
		}
	}
	if l.Total <= 0 || free < 0 {
		return l, false
	}
	if spare < 0 {
		spare = l.Copy / 50
	}
	l.Used = l.Total - free
	l.Line = max(l.Total-spare, 0)
	return l, true
}

// whole returns a fact as a number.
func whole(r *checks.Result, key string) (int64, bool) {
	v, ok := number(r, key)
	return int64(v), ok
}

func number(r *checks.Result, key string) (float64, bool) {
	switch v := r.Fact(key).Value.(type) {
	case int:
		return float64(v), true
	case int64:
		return float64(v), true
	case uint64:
		return float64(v), true
	case float64:
		return v, true
	}
	return 0, false
}

// spans is what the time drawing shows; zero means unknown.
type spans struct {
	low, high time.Duration // the estimate of the copy
	wire1     time.Duration // at 1 Gb/s and at 10 Gb/s, to plan with while there is no share
	wire10    time.Duration
	battery   time.Duration
	uplink    time.Duration
}

// spansOf reads the drawing's numbers from the copy-time check.
func spansOf(r *checks.Result) (spans, bool) {
	var s spans
	for key, to := range map[string]*time.Duration{
		"estimate_low_seconds": &s.low, "estimate_high_seconds": &s.high,
		"plan_1gbit_seconds": &s.wire1, "plan_10gbit_seconds": &s.wire10, "battery_seconds": &s.battery, "uplink_seconds": &s.uplink,
	} {
		if v, ok := number(r, key); ok {
			*to = time.Duration(v * float64(time.Second))
		}
	}
	return s, s.low > 0 || s.high > 0 || s.wire1 > 0 || s.uplink > 0
}

type timeBar struct {
	label    string
	from, to time.Duration
	text     string
	color    fyne.ThemeColorName
	safe     time.Duration // the load line on this bar; 0 for none
}

// bars lists what there is to draw, the copy first.
func (s spans) bars() []timeBar {
	var out []timeBar
	switch {
	case s.high > 0:
		text := "about " + checks.Span(s.high)
		if s.low > 0 && s.low != s.high {
			text = checks.Span(s.low) + " to " + checks.Span(s.high)
		}
		c := kit.ColAccent
		if s.battery > 0 && float64(s.high) > 0.8*float64(s.battery) {
			c = kit.ColFail
		}
		out = append(out, timeBar{label: "This copy", from: s.low, to: s.high, text: text, color: c})
	case s.wire1 > 0:
		out = append(out, timeBar{label: "At 1 Gb/s", to: s.wire1, text: checks.Span(s.wire1), color: kit.ColAccent})
		if s.wire10 > 0 {
			out = append(out, timeBar{label: "At 10 Gb/s", to: s.wire10, text: checks.Span(s.wire10), color: kit.ColAccent})
		}
	}
	if s.battery > 0 {
		out = append(out, timeBar{
			label: "Battery", to: s.battery, text: checks.Span(s.battery), color: kit.ColUsed,
			safe: s.battery * 8 / 10,
		})
	}
	if s.uplink > 0 {
		out = append(out, timeBar{label: "Your uplink", to: s.uplink, text: checks.Span(s.uplink), color: kit.ColUsed})
	}
	return out
}

const timeBarHeight = 24

// newTimeBars draws the estimate against the battery and the uplink, on one scale.
func newTimeBars(get func() spans) *kit.Drawing {
	return kit.NewDrawing(
		func(float32) float32 { return float32(len(get().bars())) * timeBarHeight },
		func(p *kit.Pen) { drawTimeBars(p, get().bars()) })
}

func drawTimeBars(p *kit.Pen, bars []timeBar) {
	const labelW, textW = 96, 190
	most := time.Duration(1)
	for _, b := range bars {
		most = max(most, b.to)
	}
	room := p.Width - labelW - textW
	// A copy of hours beside an uplink of weeks: what is longer than fifteen times the rest is
	// broken off, or the copy would be a dot. The two wires, ten to one, are drawn as they are.
	second := time.Duration(1)
	for _, b := range bars {
		if b.to != most {
			second = max(second, b.to)
		}
	}
	broken := second > 1 && most > 15*second
	scale := most
	if broken {
		scale = 2 * second
	}
	at := func(d time.Duration) float32 { return float32(float64(min(d, scale)) / float64(scale) * float64(room)) }
	for i, b := range bars {
		y := float32(i) * timeBarHeight
		p.Word(0, y+2, labelW-8, b.label, kit.SizeSmall+1, kit.ColMuted, fyne.TextStyle{})
		w := max(at(b.to), 3)
		p.Box(labelW, y+6, w, 11, 4, b.color)
		if b.from > 0 && b.from < b.to { // the sure part solid, the range notched
			p.Box(labelW+at(b.from)-1, y+6, 2, 11, 0, kit.ColSurface)
		}
		if broken && b.to == most {
			for k := range 2 {
				p.Box(labelW+w-18+float32(k)*6, y+4, 3, 15, 0, kit.ColSurface)
			}
		}
		if b.safe > 0 {
			x := labelW + at(b.safe)
			p.Box(x-2, y+2, 4, 19, 2, kit.ColMark)
		}
		text := b.text
		if b.safe > 0 {
			text += ", load line at " + checks.Span(b.safe)
		}
		p.Word(labelW+w+10, y+2, p.Width-labelW-w-10, text, kit.SizeSmall+1, kit.ColText, fyne.TextStyle{})
	}
}

const folderBarHeight = 28

// newFolderBars draws the largest folders: where bytes and trouble sit.
func newFolderBars(get func() []checks.FolderSum, name func(checks.FolderSum) string) *kit.Drawing {
	return kit.NewDrawing(
		func(float32) float32 { return float32(len(get())) * folderBarHeight },
		func(p *kit.Pen) { drawFolderBars(p, get(), name) })
}

func drawFolderBars(p *kit.Pen, sums []checks.FolderSum, called func(checks.FolderSum) string) {
	most := int64(1)
	for _, s := range sums {
		most = max(most, s.Bytes)
	}
	nameW := p.Width * 0.36
	barX := nameW + 14
	const sizeW, flagsW = 84, 150
	barW := p.Width - barX - sizeW - flagsW - 20
	for i, s := range sums {
		y := float32(i) * folderBarHeight
		ty := y + (folderBarHeight-18)/2
		mono := fyne.TextStyle{Monospace: true}
		name := kit.Fit(called(s), nameW, kit.CutMiddle, func(t string) float32 { return kit.Measure(t, kit.SizeBody-1, mono).Width })
		p.Word(0, ty, 0, name, kit.SizeBody-1, kit.ColText, mono)
		p.Box(barX, y+9, barW, 10, 4, kit.ColInset)
		p.Box(barX, y+9, max(barW*float32(float64(s.Bytes)/float64(most)), 3), 10, 4, kit.ColAccent)
		text := checks.Bytes(s.Bytes)
		w := kit.Measure(text, kit.SizeBody-1, fyne.TextStyle{}).Width
		p.Word(barX+barW+sizeW-w, ty, 0, text, kit.SizeBody-1, kit.ColText, fyne.TextStyle{})
		x := barX + barW + sizeW + 20
		for _, l := range []checks.Level{checks.Fail, checks.Warn} {
			if n := s.Flagged[l]; n > 0 {
				lk := levelBadge(l)
				p.Mark(x, y+7, 14, lk.Mark, lk.Color)
				x += 19 + p.Word(x+19, ty, 0, checks.Count(int64(n)), kit.SizeBody-1, lk.Color, fyne.TextStyle{Bold: true}) + 12
			}
		}
		if s.Flagged[checks.Fail]+s.Flagged[checks.Warn] == 0 {
			p.Word(x, ty, 0, "nothing flagged", kit.SizeBody-1, kit.ColMuted, fyne.TextStyle{})
		}
	}
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
