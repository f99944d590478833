package gui

import (
	"time"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/kit"
)

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
