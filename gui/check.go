package gui

import (
	"errors"
	"path/filepath"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/seal"
)

// longRun is how long a run takes before its end is worth a notification.
const longRun = 30 * time.Second

// request reads the fields, or says what is wrong with them.
func (w *Window) request(v *view) (Request, error) {
	r := Request{Job: checks.Job{Stage: v.stage, Version: w.desk.Version}, State: w.desk.StateDir}
	from, to := v.route.from.get(), v.route.to.get()
	if v.stage == checks.Arrival {
		r.Manifest = from
		r.Listings = typedPaths(v.route.to.path.Text)
		return r, nil
	}
	r.Source, r.Share = from, to
	if err := v.route.options.into(&r.Job); err != nil {
		return r, err
	}
	r.CopyListFile = typedPath(v.route.options.list.Text)
	if w.standIn != nil {
		w.standIn(&r.Job)
	}
	if rep := v.report; rep != nil && rep.Source.Path == from {
		r.Expect = rep.Totals.Files + rep.Totals.Folders + rep.Totals.Links + rep.Totals.Others
	}
	return r, nil
}

// Check starts the checks of the stage that is shown.
func (w *Window) Check() {
	v := w.view()
	switch {
	case w.fixing, w.running == v.stage:
		return
	case w.running != "":
		w.tell(checks.Waiting, "“"+stageWords[w.running].name+"” is still being checked. Wait for its end, or stop it there first.")
		return
	case !w.ready(v):
		w.askPlace(v)
		return
	}
	if w.at != pageChecks {
		w.show(pageChecks)
	}
	req, err := w.request(v)
	if err != nil {
		v.route.options.say(capital(err.Error()) + ".")
		w.message = err.Error()
		v.state = stateError
		v.reset()
		v.head.files.Hide()
		v.head.setPrimary(true)
		v.head.say(lookOf(checks.Failed), "The check could not begin", putRight)
		v.relay()
		w.bar.update(w)
		return
	}
	if v.route.options != nil {
		v.route.options.say("")
	}
	w.remember()
	w.notice.hide()
	w.running, w.stops, w.began = v.stage, false, w.desk.Now()
	v.state, v.asked = stateRunning, v.places()
	v.reset()
	v.lock(true)
	v.route.from.say("", "")
	v.route.to.say("", "")
	v.head.say(lookOf(checks.Running), runningWords(v.stage), "")
	v.head.setRunning(true)
	if c := w.win.Canvas(); c.Focused() == v.head.check { // it is gone: the keyboard goes on to what stands in its place
		c.Focus(v.head.stop)
	}
	v.relay()
	w.bar.update(w)
	w.run.start(req,
		func(ev []checks.Event, p checks.Progress) { w.step10(v, ev, p) },
		func(rep *checks.Report, err error) { w.ended(v, rep, err) })
}

const putRight = "Put right what stands in red below, and check again."

// askPlace says which place is missing, and leads to it.
func (w *Window) askPlace(v *view) {
	if w.at != pageChecks {
		w.show(pageChecks)
	}
	x, what := v.route.from, "Choose the source first: the folder to be copied."
	switch {
	case v.stage == checks.Arrival && x.get() == "":
		what = "Choose the manifest first: the check after copying wrote it."
	case v.stage == checks.Arrival:
		x, what = v.route.to, "Choose the listing first: the object store’s list of what it holds."
	case x.get() != "":
		x, what = v.route.to, "Choose the share first: the folder where the appliance is mounted."
	}
	w.tell(checks.Waiting, what)
	w.win.Canvas().Focus(x.path)
}

func runningWords(s checks.Stage) string {
	switch s {
	case checks.After:
		return "Reading both sides"
	case checks.Arrival:
		return "Looking every file up"
	}
	return "Checking before copying"
}

// step10 shows what is new in a run, ten times a second.
func (w *Window) step10(v *view, ev []checks.Event, p checks.Progress) {
	grew := false
	for _, e := range ev {
		if e.Result != nil {
			grew = v.ledger.update(e.Check.ID, e.Result.Status, e.Result, "") || grew
		} else {
			grew = v.ledger.update(e.Check.ID, checks.Running, nil, "Looking…") || grew
		}
	}
	for _, k := range v.ledger.cards {
		if k.status == checks.Running {
			k.show(checks.Running, nil, doingWords(k.check, p))
		}
	}
	if len(ev) > 0 {
		v.ledger.margins()
	}
	if grew {
		v.ledger.page.reflow()
	}
	v.head.progress(p)
}

// doingWords says on a running card how far it is: those that look at every entry count them.
func doingWords(c *checks.Check, p checks.Progress) string {
	switch {
	case c.Visit != nil && p.Entries > 0:
		return checks.Count(p.Entries) + " entries looked at so far"
	case c.Visit == nil && p.Phase != "":
		return p.Phase + "…"
	}
	return "Looking…"
}

// ended shows how a run ended.
func (w *Window) ended(v *view, rep *checks.Report, err error) {
	w.running = ""
	v.lock(false)
	v.head.setRunning(false)
	took := w.desk.Now().Sub(w.began)
	switch {
	case rep != nil && rep.Interrupted || err != nil && stoppedErr(err):
		if rep == nil {
			rep = v.stoppedReport()
		}
		v.take(rep, stateStopped)
		w.message = "Stopped."
	case err != nil:
		w.failed(v, err)
	default:
		v.take(rep, stateDone)
		w.message = v.head.title.text
		if w.stage != v.stage {
			w.tell(rep.Verdict, "“"+stageWords[v.stage].name+"” is checked: "+v.head.title.text+".")
		}
		w.keepReport(rep)
		if rep.Stage == checks.After && rep.Manifest != "" {
			w.views[checks.Arrival].route.from.put(rep.Manifest)
			w.tell(checks.Passed, "The manifest is "+names.Quote(rep.Manifest)+". Keep it: the stage “After arrival” needs it, and has it filled in already.")
		}
		if took >= longRun {
			w.desk.Notify(stageWords[v.stage].name+": "+v.head.title.text, rep.Counts())
		}
	}
	v.head.check.set("", "Check again")
	if c := w.win.Canvas(); c.Focused() == v.head.stop {
		next := v.head.check
		if v.head.files.Visible() && v.head.files.kind == primary {
			next = v.head.files
		}
		c.Focus(next)
	}
	v.relay()
	w.bar.update(w)
	if w.closing {
		w.leave()
	}
}

// stoppedReport is what can be said where the engine gave no report: the cards as they are.
func (v *view) stoppedReport() *checks.Report {
	rep := &checks.Report{Stage: v.stage, Interrupted: true, Verdict: checks.Warned}
	for _, k := range v.ledger.cards {
		r := checks.Result{Check: k.check, ID: k.check.ID, Title: k.check.Title, Status: checks.Unknown, Summary: "Stopped before it was done.", Reason: "Stopped before it was done."}
		if k.result != nil {
			r = *k.result
		}
		rep.Checks = append(rep.Checks, r)
	}
	return rep
}

// failed says beside the place at fault why a run could not begin.
func (w *Window) failed(v *view, err error) {
	v.state = stateError
	var list *listError
	if errors.As(err, &list) {
		v.route.options.say(capital(list.Error()) + ".")
		w.message = list.Error()
		v.reset()
		v.head.setPrimary(true)
		v.head.say(lookOf(checks.Failed), "The check could not begin", putRight)
		return
	}
	text := strings.TrimPrefix(err.Error(), checks.ErrBadJob.Error()+": ")
	where := v.blame(err)
	text = strings.TrimPrefix(text, where.get()+": ") // the field above shows it
	text = capital(text) + "."
	w.message = text
	v.reset()
	v.head.setPrimary(true)
	if errors.Is(err, checks.ErrBadJob) {
		where.say("", text)
		v.head.say(lookOf(checks.Failed), "The check could not begin", putRight)
		if w.view() == v && w.at == pageChecks && w.sheet == nil {
			w.win.Canvas().Focus(where.path)
		}
	} else {
		v.head.say(lookOf(checks.Failed), "The check could not be finished", text)
	}
}

// blame returns the place that an error is about. The paths are taken out of its text first: they
// may hold any word.
func (v *view) blame(err error) *well {
	from, to := v.route.from, v.route.to
	switch {
	case errors.Is(err, seal.ErrListing):
		return to
	case errors.Is(err, seal.ErrManifest):
		return from
	}
	text := err.Error()
	for _, x := range []*well{from, to} {
		for _, p := range typedPaths(x.path.Text) {
			if v.stage == checks.Arrival && x == to && strings.Contains(text, p) {
				return to
			}
			if abs, err := filepath.Abs(p); err == nil {
				text = strings.ReplaceAll(text, names.Quote(abs), "")
			}
			text = strings.ReplaceAll(text, names.Quote(p), "")
		}
	}
	if strings.Contains(text, "share") || strings.Contains(text, "isting") {
		return to
	}
	return from
}

// Stop ends the run at once.
func (w *Window) Stop() {
	if w.running == "" {
		return
	}
	w.stops = true
	w.views[w.running].head.say(lookOf(checks.Running), "Stopping", "")
	w.run.stop()
}
