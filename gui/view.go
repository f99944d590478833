package gui

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
	"loadline/checks/names"
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
	stage  checks.Stage
	head   *head
	route  *route
	ledger *ledger
	root   *fyne.Container

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
	p := places{from: v.route.from.path.Text, to: v.route.to.path.Text}
	if v.route.options != nil {
		p.prefix, p.list = v.route.options.prefix.Text, v.route.options.list.Text
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
		v.route.from.say("", "")
		v.route.to.say("", "")
	case v.aside != nil && same:
		v.take(v.aside, v.asideState)
	}
}

func newView(w *Window, stage checks.Stage) *view {
	v := &view{stage: stage, state: stateIdle}
	v.head = newHead(w.Check, w.Stop, func() { w.showFiles(nil) })
	v.head.check.set("", stageWords[stage].button)
	var opts *options
	var from, to *well
	switch stage {
	case checks.Arrival:
		from = newWell("document", "Manifest", "/path/to/manifest", w.chooser(&from, "Choose the manifest", false))
		to = newWell("share", "Listing of the store", "/path/to/listing.csv", w.chooser(&to, "Choose the listing", false))
	default:
		from = newWell("disk", "Source", "/path/to/the/archive", w.chooser(&from, "Choose the folder to be copied", true))
		to = newWell("share", "Share", "/path/to/the/mounted/share", w.chooser(&to, "Choose the mounted share", true))
		opts = newOptions()
		if stage == checks.After {
			opts.onlyPlaces()
		}
	}
	v.route = newRoute(from, to, opts)
	v.ledger = newLedger(w.engine.List(stage), cardActions{files: func(c *checks.Check) { w.showFiles(c) }, clean: w.askClean, fix: w.showFix})
	top := newColumn(gapMid, v.head.box, v.route.box)
	v.root = container.New(&viewLayout{page: v.ledger.page, top: top}, container.New(&layersTop{}), v.ledger.page.scroll)
	v.root.Objects[0].(*fyne.Container).Objects = []fyne.CanvasObject{top}
	for _, f := range v.fields() {
		f.shortcut = w.shortcut
		f.OnSubmitted = func(string) { w.Check() }
	}
	return v
}

func (v *view) fields() []*field {
	f := []*field{v.route.from.path, v.route.to.path}
	if v.route.options != nil {
		f = append(f, v.route.options.fields()...)
	}
	return f
}

// lock keeps the input as it is while a run goes on.
func (v *view) lock(on bool) {
	v.route.from.lock(on)
	v.route.to.lock(on)
	if v.route.options != nil {
		v.route.options.lock(on)
	}
}

// reset makes the cards ready for a run.
func (v *view) reset() {
	v.report, v.aside = nil, nil
	for _, k := range v.ledger.cards {
		v.ledger.update(k.check.ID, checks.Waiting, nil, "")
	}
	v.ledger.finish(nil)
	v.head.setCounts(nil)
}

// take shows a whole report.
func (v *view) take(rep *checks.Report, state runState) {
	v.report, v.state, v.aside = rep, state, nil
	for i := range rep.Checks {
		r := &rep.Checks[i]
		v.ledger.update(r.ID, r.Status, r, "")
	}
	v.ledger.finish(rep)
	a := answerOf(rep)
	v.head.say(a.look, a.title, a.next)
	v.head.setCounts(rep.Checks)
	v.head.check.Enable()
	v.head.check.set("", "Check again")
	n := flagged(rep)
	if n > 0 {
		v.head.files.set("find", "Show "+many(n, "finding", "findings"))
		v.head.files.Show()
	} else {
		v.head.files.Hide()
	}
	// One thing to do next: what was found; where nothing was, and all was looked at, it is outside
	// this window.
	v.head.setPrimary(rep.Interrupted || n == 0 && rep.Verdict != checks.Passed)
	v.facts()
	v.relay()
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
	v.route.from.say(strings.Join(from, ", "), "")
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
		v.route.to.say(to, "")
	}
}

func flagged(rep *checks.Report) int64 {
	n := int64(0)
	for i := range rep.Checks {
		n += int64(len(rep.Checks[i].Findings))
	}
	return n
}

// relay lays out again after a text or a button has changed.
func (v *view) relay() {
	relay(v.root)
	v.ledger.page.reflow()
	v.root.Refresh()
}

// viewLayout keeps answer and route in place above the cards; where the window is low, they scroll
// with them.
type viewLayout struct {
	page *page
	top  *fyne.Container
	low  bool
}

const (
	viewLow = 460
	viewTop = 18
)

func (l *viewLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	fixed := o[0].(*fyne.Container)
	if low := s.Height < viewLow; low != l.low {
		l.low = low
		if low {
			fixed.Objects = nil
			l.page.slot.Objects = []fyne.CanvasObject{l.top}
		} else {
			l.page.slot.Objects = nil
			fixed.Objects = []fyne.CanvasObject{l.top}
		}
		l.page.layout.w = 0
	}
	y := float32(0)
	if !l.low {
		w := min(s.Width-2*edge(s.Width), ledgerMost)
		h := heightOf(l.top, w)
		place(o[0], 0, 0, s.Width, h+viewTop)
		place(l.top, (s.Width-w)/2, viewTop, w, h)
		y = h + viewTop + 10
	} else {
		place(o[0], 0, 0, s.Width, 0)
	}
	place(o[1], 0, y, s.Width, s.Height-y)
}

func (l *viewLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, 300) }

// layersTop leaves its one object where viewLayout put it.
type layersTop struct{}

func (*layersTop) Layout([]fyne.CanvasObject, fyne.Size)        {}
func (*layersTop) MinSize([]fyne.CanvasObject) (none fyne.Size) { return none }
