package gui

import (
	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// portion is how much of a copy is read when it is rechecked.
type portion struct {
	box     fyne.CanvasObject
	percent *kit.Field
	problem *kit.Paragraph
	changed func()
}

func newPortion() *portion {
	s := &portion{
		percent: kit.NewField("all"),
		problem: kit.NewParagraph("", kit.SizeSmall+1, kit.ColFail),
	}
	s.problem.Hide()
	s.percent.OnChanged = func(string) {
		s.complain("")
		if s.changed != nil {
			s.changed()
		}
	}
	row := kit.NewStretch(8, 2,
		kit.NewText("Per cent of the files to read", kit.SizeSmall+1, kit.ColMuted),
		kit.NewSized(110, optionHigh, s.percent.Framed()),
		kit.NewText("Chosen at random; empty means all of them. Presence and size are compared in any case.", kit.SizeSmall+1, kit.ColMuted).Truncated())
	s.box = kit.NewInset(12, 4, kit.NewColumn(6, row, s.problem))
	return s
}

func (s *portion) fields() []*kit.Field { return []*kit.Field{s.percent} }

func (s *portion) lock(on bool) {
	kit.SetEnabled(s.percent, !on)
}

// complain shows what is wrong with what was typed; empty if nothing is.
func (s *portion) complain(problem string) {
	s.problem.Set(problem, "")
	kit.SetVisible(s.problem, problem != "")
}

// into takes the sample over into a request, or says what cannot be understood.
func (s *portion) into(r *Request) error {
	var err error
	r.Sample, err = input.Percent(s.percent.Text)
	return err
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
