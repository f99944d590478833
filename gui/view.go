package gui

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/kit"
)

// runState is where a stage's run stands.
type runState string

// The states, as the trace names them.
const (
	stateIdle    runState = "idle"
	stateRunning runState = "running"
	stateDone    runState = "done"
	stateStopped runState = "stopped"
	stateError   runState = "error"
)

// view is one stage: its two places, its answer and its cards.
type view struct {
	stage checks.Stage
	head  *head
	setup *setup
	list  *cardList
	root  *fyne.Container

	state  runState
	report *checks.Report
	asked  places // what the report is about

	// aside is a report whose places are no longer those of the fields: it comes back with them.
	aside      *checks.Report
	asideState runState
}

// places are what a report is about: a verdict on one disk must never stand beside another.
type places struct{ from, to, prefix, list string }

func (v *view) places() places {
	p := places{from: v.setup.from.path.Text, to: v.setup.to.path.Text}
	if v.setup.options != nil {
		p.prefix, p.list = v.setup.options.prefix.Text, v.setup.options.list.Text
	}
	return p
}

// follow puts a report aside when the fields name other places than it is about, and brings it back
// when they name its own again.
func (v *view) follow() {
	switch same := v.places() == v.asked; {
	case v.report != nil && !same:
		rep, state := v.report, v.state
		v.reset()
		v.aside, v.asideState, v.state = rep, state, stateIdle
		v.head.files.Hide()
		v.head.setPrimary(true)
		v.setup.from.say("", "")
		v.setup.to.say("", "")
	case v.aside != nil && same:
		v.setReport(v.aside, v.asideState)
	}
}

func newView(w *Window, stage checks.Stage) *view {
	v := &view{stage: stage, state: stateIdle}
	v.head = newHead(w.Check, w.Stop, func() { w.showFiles(nil) })
	v.head.check.Set("", stageWords[stage].button)
	var opts *options
	var from, to *picker
	switch stage {
	case checks.Arrival:
		from = newPicker("document", "Manifest", "/path/to/manifest", w.chooser(&from, "Choose the manifest", false))
		to = newPicker("share", "Listing of the store", "/path/to/listing.csv", w.chooser(&to, "Choose the listing", false))
	default:
		from = newPicker("disk", "Source", "/path/to/the/archive", w.chooser(&from, "Choose the folder to be copied", true))
		to = newPicker("share", "Share", "/path/to/the/mounted/share", w.chooser(&to, "Choose the mounted share", true))
		opts = newOptions()
		if stage == checks.After {
			opts.onlyPlaces()
		}
	}
	v.setup = newSetup(from, to, opts)
	v.list = newCardList(w.engine.List(stage), cardActions{files: func(c *checks.Check) { w.showFiles(c) }, clean: w.askClean, fix: w.showFix})
	top := kit.NewColumn(kit.GapMid, v.head.box, v.setup.box)
	v.root = container.New(&viewLayout{page: v.list.page, top: top}, container.New(&layersTop{}), v.list.page.Scroll)
	v.root.Objects[0].(*fyne.Container).Objects = []fyne.CanvasObject{top}
	for _, f := range v.fields() {
		f.OnShortcut = w.shortcut
		f.OnSubmitted = func(string) { w.Check() }
	}
	return v
}

func (v *view) fields() []*kit.Field {
	f := []*kit.Field{v.setup.from.path, v.setup.to.path}
	if v.setup.options != nil {
		f = append(f, v.setup.options.fields()...)
	}
	return f
}

// lock keeps the input as it is while a run goes on.
func (v *view) lock(on bool) {
	v.setup.from.lock(on)
	v.setup.to.lock(on)
	if v.setup.options != nil {
		v.setup.options.lock(on)
	}
}

// reset makes the cards ready for a run.
func (v *view) reset() {
	v.report, v.aside = nil, nil
	for _, k := range v.list.cards {
		v.list.update(k.check.ID, checks.Waiting, nil, "")
	}
	v.list.finish(nil)
	v.head.setCounts(nil)
}

// setReport shows a whole report.
func (v *view) setReport(rep *checks.Report, state runState) {
	v.report, v.state, v.aside = rep, state, nil
	for i := range rep.Checks {
		r := &rep.Checks[i]
		v.list.update(r.ID, r.Status, r, "")
	}
	v.list.finish(rep)
	a := answerOf(rep)
	v.head.say(a.badge, a.title, a.next)
	v.head.setCounts(rep.Checks)
	v.head.check.Enable()
	v.head.check.Set("", "Check again")
	n := flagged(rep)
	if n > 0 {
		v.head.files.Set("find", "Show "+many(n, "finding", "findings"))
		v.head.files.Show()
	} else {
		v.head.files.Hide()
	}
	// One thing to do next: what was found; where nothing was, and all was looked at, it is outside
	// this window.
	v.head.setPrimary(rep.Interrupted || n == 0 && rep.Verdict != checks.Passed)
	v.facts()
	v.relayout()
}

// facts writes beside source and share what a report knows of them.
func (v *view) facts() {
	rep := v.report
	if rep == nil || v.stage == checks.Arrival {
		return
	}
	var from []string
	if !rep.Interrupted { // else the sums are of a part, or of nothing
		from = append(from, many(rep.Totals.Files, "file", "files"), checks.Bytes(rep.Totals.Bytes))
	}
	if rep.Source.Type != "" {
		from = append(from, rep.Source.Type)
	}
	v.setup.from.say(strings.Join(from, ", "), "")
	if s := rep.Share; s != nil {
		to := s.Type
		if s.Free >= 0 && s.Total > 0 {
			to = checks.Bytes(s.Free) + " free of " + checks.Bytes(s.Total) + ", " + to
		}
		if s.From != "" {
			to += " from " + names.Quote(s.From)
		}
		if rep.Invented != "" {
			to += " (invented for the demo)"
		}
		v.setup.to.say(to, "")
	}
}

func flagged(rep *checks.Report) int64 {
	n := int64(0)
	for i := range rep.Checks {
		n += int64(len(rep.Checks[i].Findings))
	}
	return n
}

// relayout lays out again after a text or a button has changed.
func (v *view) relayout() {
	kit.Relayout(v.root)
	v.list.page.Reflow()
	v.root.Refresh()
}

// viewLayout keeps answer and route in place above the cards; where the window is low, they scroll
// with them.
type viewLayout struct {
	page *kit.Page
	top  *fyne.Container
	low  bool
}

// viewLow is the height below which answer and setup scroll with the cards.
const viewLow = 460

func (l *viewLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	fixed := o[0].(*fyne.Container)
	if low := s.Height < viewLow; low != l.low {
		l.low = low
		if low {
			fixed.Objects = nil
			l.page.SetAbove(l.top)
		} else {
			l.page.SetAbove()
			fixed.Objects = []fyne.CanvasObject{l.top}
		}
	}
	y := float32(0)
	if !l.low {
		w := min(s.Width-2*kit.Edge(s.Width), kit.PageMost)
		h := kit.HeightOf(l.top, w)
		kit.SetBounds(o[0], 0, 0, s.Width, h+kit.PageTop)
		kit.SetBounds(l.top, (s.Width-w)/2, kit.PageTop, w, h)
		y = h + kit.PageTop + 10
	} else {
		kit.SetBounds(o[0], 0, 0, s.Width, 0)
	}
	kit.SetBounds(o[1], 0, y, s.Width, s.Height-y)
}

func (l *viewLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, 300) }

// layersTop leaves its one object where viewLayout put it.
type layersTop struct{}

func (*layersTop) Layout([]fyne.CanvasObject, fyne.Size)        {}
func (*layersTop) MinSize([]fyne.CanvasObject) (none fyne.Size) { return none }
