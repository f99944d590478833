package gui

import (
	"errors"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/names"
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
	if v.stage == checks.Before && w.listOf == from {
		r.CopyList = w.listed
	}
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
	if w.running != "" || w.fixing || v.head.check.Disabled() {
		return
	}
	if w.at != pageChecks {
		w.show(pageChecks)
	}
	req, err := w.request(v)
	if err != nil {
		v.route.options.say(capital(err.Error()) + ".")
		w.message = err.Error()
		v.relay()
		return
	}
	if v.route.options != nil {
		v.route.options.say("")
	}
	w.remember()
	w.notice.hide()
	w.running, w.stops, w.began = v.stage, false, w.desk.Now()
	v.state = stateRunning
	v.reset()
	v.lock(true)
	v.route.from.say("", "")
	v.route.to.say("", "")
	v.head.say(lookOf(checks.Running), runningWords(v.stage), "You can go on working. Cards fill in as they are done.")
	v.head.setRunning(true)
	v.relay()
	w.bar.update(w)
	w.run.start(req,
		func(ev []checks.Event, p checks.Progress) { w.step10(v, ev, p) },
		func(rep *checks.Report, err error) { w.ended(v, rep, err) })
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
	case rep != nil && rep.Stopped || err != nil && stoppedErr(err):
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
		w.keepReport(rep)
		if rep.Stage == checks.After && rep.Manifest != "" {
			w.views[checks.Arrival].route.from.put(rep.Manifest)
			w.tell(checks.Pass, "The manifest is "+names.Quote(rep.Manifest)+". Keep it: the stage “After arrival” needs it, and has it filled in already.")
		}
		if took >= longRun {
			w.desk.Notify(stageWords[v.stage].name+": "+v.head.title.text, rep.Tell())
		}
	}
	v.head.check.set("", "Check again")
	v.relay()
	w.bar.update(w)
	if w.closing {
		w.leave()
	}
}

// stoppedReport is what can be said where the engine gave no report: the cards as they are.
func (v *view) stoppedReport() *checks.Report {
	rep := &checks.Report{Stage: v.stage, Stopped: true, Verdict: checks.Warned}
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
	text := strings.TrimPrefix(err.Error(), checks.ErrBadJob.Error()+": ")
	text = capital(text) + "."
	w.message = text
	v.reset()
	where := v.route.from
	if strings.Contains(text, "share") || strings.Contains(text, "isting") {
		where = v.route.to
	}
	if errors.Is(err, checks.ErrBadJob) {
		where.say("", text)
		v.head.say(lookOf(checks.Failed), "The check could not begin", "Put right what stands in red below, and check again.")
	} else {
		v.head.say(lookOf(checks.Failed), "The check could not be finished", text)
	}
}

// Stop ends the run at once.
func (w *Window) Stop() {
	if w.running == "" {
		return
	}
	w.stops = true
	w.views[w.running].head.say(lookOf(checks.Running), "Stopping", "What has ended stays on its cards.")
	w.run.stop()
}
