package gui

import (
	"loadline/checks"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// portion is how much of a copy is read when it is rechecked.
type portion struct {
	form
	percent *kit.Field
}

func newPortion() *portion {
	s := &portion{percent: kit.NewField("all")}
	s.form = newForm(func(r *Request) (err error) {
		r.Sample, err = input.Percent(s.percent.Text)
		return err
	}, s.percent)
	s.build(kit.NewStretch(8, 2, label("Per cent of the files to read"), kit.NewSized(110, optionHigh, s.percent.Framed()),
		label("Chosen at random; empty means all of them. Presence and size are compared in any case.").Truncated()))
	return s
}

// showRecheck leads from the arrival to the page on which a copy is compared with the manifest.
func (w *Window) showRecheck() {
	from := w.views[checks.Arrival].setup.from.get()
	v := w.views[checks.Recheck]
	if v.setup.from.get() == "" && w.running != checks.Recheck {
		v.setup.from.put(from)
	}
	w.setStage(checks.Recheck)
	if w.stage != checks.Recheck || v.setup.folded() || w.running == checks.Recheck {
		return
	}
	x := v.setup.from
	if x.get() != "" {
		x = v.setup.to
	}
	w.win.Canvas().Focus(x.path)
}

// tabOf is the tab under which a stage is shown: a recheck belongs to the time after arrival.
func tabOf(s checks.Stage) checks.Stage {
	if s == checks.Recheck {
		return checks.Arrival
	}
	return s
}
