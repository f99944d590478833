package gui

import (
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/input"
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
	w     *Window
	stage checks.Stage
	head  *head
	setup *setup
	list  *cardList

	state  runState
	report *checks.Report
	asked  places // what the report is about
	links  links

	// aside is a report whose places are no longer those of the fields: it comes back with them.
	aside      *checks.Report
	asideState runState
}

// places are what a report is about, settled: a verdict on one disk must never stand beside another.
// After arrival prefix and list stand for what was said of the listing.
type places struct{ from, to, prefix, list, with string }

func (v *view) places() places {
	s := v.setup
	p := places{from: v.links.settle(s.from.get()), to: v.links.settle(s.to.get())}
	if v.stage == checks.Arrival {
		p.to = s.to.path.Text // may be several files
		p.prefix, p.list = s.store.columns.Text, s.store.disk.Text
	}
	if s.portion != nil {
		p.list = s.portion.percent.Text
	}
	if o := s.options; o != nil {
		p.prefix, p.list = input.Path(o.prefix.Text), v.links.settle(input.Path(o.list.Text))
		if clean, err := checks.CleanPrefix(p.prefix); err == nil {
			p.prefix = clean
		}
	}
	if s.disks != nil {
		p.with = s.disks.key(v.links)
	}
	return p
}

// links knows where paths lead that were found to lead through links. A job settles its source by
// following them; asking the disk takes time, so what has been found out once is kept.
type links map[string]string

// settle returns the absolute path that names a place, as far as it is known; "" of "".
func (l links) settle(path string) string {
	if path == "" {
		return ""
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	if real, ok := l[abs]; ok {
		return real
	}
	return abs
}

// learn takes over where a path leads.
func (l links) learn(path, real string) {
	if abs, err := filepath.Abs(path); err == nil && path != "" && real != "" {
		l[abs] = real
	}
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
		v.setup.setFolded(false)
		v.setup.from.say("", "")
		v.setup.to.say("", "")
	case v.aside != nil && same:
		v.setReport(v.aside, v.asideState)
	}
}

func newView(w *Window, stage checks.Stage) *view {
	v := &view{w: w, stage: stage, state: stateIdle, links: w.links}
	v.head = newHead(w.Check, w.Stop, func() { w.showFiles(nil) })
	v.head.check.Set("", stageWords[stage].button)
	s := &setup{}
	v.setup = s
	var between fyne.CanvasObject
	manifest := newPicker("document", "Manifest", "/path/to/manifest", w.chooser(&s.from, "Choose the manifest", false))
	switch stage {
	case checks.Recheck:
		s.from = manifest
		s.to = newPicker("disk", "Folder of the copy", "/path/to/the/copy", w.chooser(&s.to, "Choose the folder of the copy", true))
		s.portion = newPortion()
		s.form = &s.portion.form
		v.head.aside("back", "After arrival", func() { w.setStage(checks.Arrival) })
	case checks.Arrival:
		s.from = manifest
		s.to = newPicker("share", "Listing of the store", "/path/to/listing.csv", w.chooser(&s.to, "Choose the listing", false))
		s.store = newStore(w)
		s.form = &s.store.form
		v.head.aside("", "Recheck a copy", w.showRecheck)
	default:
		s.from = newPicker("disk", "Source", "/path/to/the/archive", w.chooser(&s.from, "Choose the folder to be copied", true))
		s.to = newPicker("share", "Share", "/path/to/the/mounted/share", w.chooser(&s.to, "Choose the mounted share", true))
		s.options = newOptions(v)
		s.form = &s.options.form
		if stage == checks.After {
			s.options.onlyPlaces()
			s.one = newDiskChoice()
			between = s.one.box
		} else {
			s.disks = newMoreDisks(v)
			s.from.row.Objects = append(s.from.row.Objects, s.disks.add)
			between = s.disks.box
		}
	}
	s.build(v, between)
	do := cardActions{files: func(c *checks.Check) { w.showFiles(c) }, equal: w.showEqual, clean: w.askClean, fix: w.showFix, copy: w.copyCommand, sleepy: func() bool { return w.sleepy }}
	if stage == checks.Before {
		do.several, do.split = w.several, w.showSplit
		do.read = w.ReadAll
	}
	v.list = newCardList(w.engine.List(stage), do)
	v.list.page.SetAbove(kit.NewColumn(kit.GapMid, v.head.box, s.box), viewLow)
	for _, f := range v.fields() {
		w.tieField(f)
	}
	return v
}

// tieField gives a field of the set-up the shortcuts of the window.
func (w *Window) tieField(f *kit.Field) {
	f.OnShortcut = w.shortcut
	f.OnSubmitted = func(string) { w.Check() }
}

func (v *view) fields() []*kit.Field {
	return append([]*kit.Field{v.setup.from.path, v.setup.to.path}, v.setup.fields()...)
}

// reset makes the cards ready for a run.
func (v *view) reset() {
	v.report, v.aside = nil, nil
	v.setup.mountedFrom = ""
	for _, k := range v.list.cards {
		v.list.update(k.check.ID, checks.Waiting, nil, "")
	}
	v.list.finish(nil)
	v.head.setCounts(nil)
	v.head.prove(nil)
}

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
	v.head.prove(rep.Proof)
	v.head.check.Enable()
	v.head.check.Set("", "Check again")
	n := flagged(rep)
	if n > 0 {
		v.head.files.Set("find", "Show "+checks.Plural(n, "finding"))
		v.head.files.Show()
	} else {
		v.head.files.Hide()
	}
	// One thing to do next: what was found; where nothing was, and all was looked at, it is outside
	// this window.
	v.head.setPrimary(rep.Interrupted || n == 0 && rep.Verdict != checks.Passed)
	if rep.Verdict == checks.Passed && !rep.Interrupted { // what was noted is no hindrance
		v.head.files.SetKind(kit.Plain)
	}
	v.facts()
	v.relayout()
}

// facts writes beside source and share what a report knows of them.
func (v *view) facts() {
	rep := v.report
	if rep == nil || v.setup.options == nil {
		return
	}
	var from []string
	if !rep.Interrupted { // else the sums are of a part, or of nothing
		from = append(from, checks.Plural(rep.Totals.Files, "file"), checks.Bytes(rep.Totals.Bytes))
	}
	if len(rep.Sources) > 1 {
		if len(from) > 0 {
			from[len(from)-1] += " in all"
		}
	} else if rep.Source.Type != "" {
		from = append(from, rep.Source.Type)
	}
	v.setup.from.say(strings.Join(from, ", "), "")
	if s := rep.Share; s != nil {
		to := s.Type
		if s.Free >= 0 && s.Total > 0 {
			to = checks.Bytes(s.Free) + " free of " + checks.Bytes(s.Total) + ", " + to
		}
		v.setup.mountedFrom = s.From
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

// resized is called when the set-up wants another height.
func (v *view) resized() {
	v.relayout()
	v.w.changed()
}

func (v *view) focus(f fyne.Focusable) { v.w.win.Canvas().Focus(f) }

// relayout lays out again after a text or a button has changed.
func (v *view) relayout() { v.list.page.Reflow() }

// viewLow is the height of the page below which answer and setup scroll with the cards.
const viewLow = 460
