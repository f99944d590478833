package gui

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/demo"
	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// longRun is how long a run takes before its end is worth a notification.
const longRun = 30 * time.Second

// request reads the fields, or says what is wrong with them.
func (w *Window) request(v *view) (Request, error) {
	r := Request{Job: checks.Job{Stage: v.stage, Version: w.desktop.Version}, State: w.desktop.StateDir}
	if w.demo != nil {
		r.State = w.demo.State
	}
	from, to := v.setup.from.get(), v.setup.to.get()
	switch v.stage {
	case checks.Arrival:
		r.Manifest = from
		r.Listings = input.Paths(v.setup.to.path.Text)
		if w.demo != nil && slices.ContainsFunc(r.Listings, w.demo.Owns) {
			r.Invented = demo.InventedListing
		}
	case checks.Recheck:
		r.Manifest, r.Source = from, to
	case checks.Before:
		r.Job.State = r.State // what was read before counts
		fallthrough
	default:
		r.Source, r.Share = from, to
	}
	if err := v.setup.form.into(&r); err != nil || v.setup.options == nil {
		return r, err
	}
	if v.setup.disks != nil {
		r.With = v.setup.disks.disks()
	}
	if text := v.conflict(); text != "" {
		return r, errors.New(strings.TrimSuffix(text, "."))
	}
	r.CopyListFile = input.Path(v.setup.options.list.Text)
	if w.standIn != nil {
		w.standIn(&r.Job)
	}
	if rep := v.report; rep != nil && rep.Source.Path == w.links.settle(from) {
		r.Expect = rep.Totals.Files + rep.Totals.Folders + rep.Totals.Links + rep.Totals.Others
	}
	return r, nil
}

// Check starts the checks of the stage that is shown.
func (w *Window) Check() { w.check(false) }

// check starts them; with read, the whole disk is read too.
func (w *Window) check(read bool) {
	v := w.view()
	switch {
	case w.fixing, w.running == v.stage:
		return
	case w.running != "":
		w.tellWhile(w.whileRunning(), checks.Waiting, "“"+stageWords[w.running].name+"” is still being checked. Wait until it finishes, or stop it first.")
		return
	case !w.ready(v):
		w.askForPlace(v)
		return
	}
	if w.at != pageChecks {
		w.show(pageChecks)
	}
	req, err := w.request(v)
	req.Read = read
	if err != nil {
		v.setup.setFolded(false)
		v.setup.form.say(capitalize(err.Error()) + ".")
		w.message = err.Error()
		v.state = stateError
		v.reset()
		v.head.files.Hide()
		v.head.setPrimary(true)
		v.head.say(statusBadge(checks.Failed), "The check could not start", putRight)
		v.relayout()
		w.changed()
		return
	}
	v.setup.form.say("")
	w.remember()
	w.notice.Hide()
	w.setTitle("", -1)
	w.running, w.began = v.stage, w.desktop.Now()
	v.state, v.asked = stateRunning, v.places()
	v.reset()
	v.setup.lock(true)
	v.setup.from.say("", "")
	v.setup.to.say("", "")
	v.head.say(statusBadge(checks.Running), runningWords(v.stage, read), "")
	v.head.setRunning(true)
	if c := w.win.Canvas(); c.Focused() == v.head.check || read { // it is gone: the keyboard goes on to what stands in its place
		c.Focus(v.head.stop)
	}
	v.relayout()
	w.changed()
	var rep *checks.Report
	w.run.start(func(ctx context.Context, watch func(checks.Event)) (err error) {
		rep, err = w.engine.Run(ctx, req, watch)
		return err
	}, func(ev []checks.Event, p checks.Progress) { w.showProgress(v, ev, p) }, func(err error) { w.ended(v, rep, err) })
}

// tidyFrom is how many findings a report has at least whose making leaves much memory behind.
const tidyFrom = 100_000

const putRight = "Correct what is marked in red below, and check again."

// askForPlace says which place is missing, and leads to it.
func (w *Window) askForPlace(v *view) {
	if w.at != pageChecks {
		w.show(pageChecks)
	}
	x, what := v.setup.from, "Choose the source first: the folder to be copied."
	switch {
	case v.setup.options == nil && x.get() == "":
		what = "Choose the manifest first: the check after copying wrote it."
	case v.stage == checks.Recheck:
		x, what = v.setup.to, "Choose the folder of the copy first."
	case v.stage == checks.Arrival:
		x, what = v.setup.to, "Choose the listing first: the object store’s list of what it holds."
	case x.get() != "":
		x, what = v.setup.to, "Choose the share first: the folder where the appliance is mounted."
	}
	here := w.onThisPage()
	w.tellWhile(func() bool { return here() && x.get() == "" }, checks.Waiting, what)
	v.setup.setFolded(false)
	w.win.Canvas().Focus(x.path)
}

func runningWords(s checks.Stage, read bool) string {
	switch {
	case read:
		return "Reading the whole disk"
	case s == checks.After:
		return "Reading both sides"
	case s == checks.Recheck:
		return "Comparing the copy with the manifest"
	case s == checks.Arrival:
		return "Looking every file up"
	}
	return "Checking before copying"
}

// showProgress shows what is new in a run, ten times a second.
func (w *Window) showProgress(v *view, ev []checks.Event, p checks.Progress) {
	grew := false
	for _, e := range ev {
		if e.Result != nil {
			grew = v.list.update(e.Check.ID, e.Result.Status, e.Result, "") || grew
		} else {
			grew = v.list.update(e.Check.ID, checks.Running, nil, "Looking…") || grew
		}
	}
	for _, k := range v.list.cards {
		if k.status == checks.Running {
			k.show(checks.Running, nil, doingWords(k.check, p))
		}
	}
	if len(ev) > 0 {
		v.list.margins()
	}
	if grew {
		v.list.page.Reflow()
	}
	v.head.progress(p)
	w.showTitle(p)
}

// titleAfter is how long a run takes before the title tells how far it is.
const titleAfter = time.Minute

// showTitle tells in the title, and so in the task bar, how far a long run is.
func (w *Window) showTitle(p checks.Progress) {
	if p.Elapsed < titleAfter {
		return
	}
	how := "Checking for " + checks.Span(p.Elapsed.Truncate(time.Minute))
	if p.Done > 0 {
		how = fmt.Sprintf("%.0f %%", 100*min(p.Done, 1))
		if p.Left > 0 {
			how += ", about " + checks.Span(max(p.Left, time.Minute).Round(time.Minute)) + " left"
		}
	}
	w.setTitle(how, p.Done)
}

// setTitle puts something before the program's name, and the part that is done on its icon. An empty text leaves
// the name alone, a part below 0 the icon.
func (w *Window) setTitle(text string, part float64) {
	title := "Loadline"
	if text != "" {
		title = text + " – " + title
	}
	if w.win.Title() != title {
		w.win.SetTitle(title)
	}
	if w.desktop.Progress == nil {
		return
	}
	if part < 0 {
		part = -1
	} else {
		part = math.Floor(100*min(part, 1)) / 100
	}
	if part != w.onIcon {
		w.onIcon = part
		w.desktop.Progress(part)
	}
}

// doingWords says on a running card how far it is: those that look at every entry count them.
func doingWords(c *checks.Check, p checks.Progress) string {
	switch {
	case c.ID == checkReads && p.Rate > 0:
		return p.Phase + "…"
	case c.Visit != nil && p.Entries > 0:
		return checks.Count(p.Entries) + " entries checked so far"
	case c.Visit == nil && p.Phase != "":
		return p.Phase + "…"
	}
	return "Looking…"
}

func (w *Window) ended(v *view, rep *checks.Report, err error) {
	w.running = ""
	if rep != nil && v.stage != checks.Arrival {
		x := v.setup.from
		if v.stage == checks.Recheck {
			x = v.setup.to
		}
		w.links.learn(x.get(), rep.Source.Path)
		w.links.learnDisks(v, rep)
		v.asked = v.places()
	}
	v.setup.lock(false)
	v.head.setRunning(false)
	w.setTitle("", -1)
	took := w.desktop.Now().Sub(w.began)
	switch {
	case rep != nil && rep.Interrupted || err != nil && stoppedErr(err):
		if rep == nil {
			rep = v.stoppedReport()
		}
		v.setReport(rep, stateStopped)
		w.message = "Stopped."
	case err != nil:
		w.failed(v, err)
	default:
		v.setReport(rep, stateDone)
		w.message = v.head.title.Text
		if w.stage != v.stage {
			w.tell(rep.Verdict, "“"+stageWords[v.stage].name+"” is checked: "+v.head.title.Text+".")
		}
		w.keepReport(rep)
		if rep.Stage == checks.After && rep.Manifest != "" {
			w.views[checks.Arrival].setup.from.put(rep.Manifest)
			w.views[checks.Recheck].setup.from.put(rep.Manifest)
			w.tell(checks.Passed, "The manifest is "+names.Quote(rep.Manifest)+". Keep it: the stage “After arrival” needs it, and it is already filled in there.")
		}
		if took >= longRun {
			w.setTitle(v.head.title.Text, -1) // for who comes back to the screen
			w.desktop.Notify(stageWords[v.stage].name+": "+v.head.title.Text, rep.Counts())
		}
	}
	v.head.check.Set("", "Check again")
	w.offerMore(v)
	c, next := w.win.Canvas(), v.head.check
	if v.head.files.Visible() && v.head.files.Kind == kit.Primary {
		next = v.head.files
	}
	lost := c.Focused() == v.head.stop
	if v.report != nil {
		for _, f := range v.fields() {
			lost = lost || c.Focused() == f
		}
		v.setup.setFolded(true)
	}
	if lost && w.view() == v {
		c.Focus(next)
	}
	v.relayout()
	w.changed()
	if rep != nil && flagged(rep) > tidyFrom {
		go debug.FreeOSMemory() // what making the report took as much again
	}
	if w.closing {
		w.leave()
	}
}

// stoppedReport is what can be said where the engine gave no report: the cards as they are.
func (v *view) stoppedReport() *checks.Report {
	rep := &checks.Report{Stage: v.stage, Interrupted: true, Verdict: checks.Warned}
	for _, k := range v.list.cards {
		r := checks.Result{Check: k.check, ID: k.check.ID, Title: k.check.Title, Status: checks.Unknown, Summary: "Stopped before it finished.", Reason: "Stopped before it finished."}
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
	v.setup.setFolded(false)
	var job *checks.JobError
	if !errors.As(err, &job) {
		text := capitalize(strings.TrimPrefix(err.Error(), checks.ErrBadJob.Error()+": ")) + "."
		w.message = text
		v.reset()
		v.head.setPrimary(true)
		v.head.say(statusBadge(checks.Failed), "The check could not be finished", text)
		return
	}
	text := capitalize(oneLine(job.Err.Error())) + "."
	if job.Hint != "" {
		text += " " + capitalize(job.Hint) + "."
	}
	v.reset()
	v.head.setPrimary(true)
	v.head.say(statusBadge(checks.Failed), "The check could not start", putRight)
	if v.blameDisk(w, job, text) {
		w.message = text
		return
	}
	where := v.pickerOf(job.Field)
	if where == nil {
		w.message = text
		v.setup.form.say(text)
		return
	}
	text = capitalize(strings.TrimPrefix(text, where.get()+": ")) // the field above shows it
	w.message = text
	where.say("", text)
	if w.view() == v && w.at == pageChecks && w.sheet == nil {
		w.win.Canvas().Focus(where.path)
	}
}

// pickerOf returns the place that a field of a job is shown in, nil where that is one of the options.
func (v *view) pickerOf(f checks.Field) *picker {
	switch f {
	case checks.FieldShare, checks.FieldListing:
		return v.setup.to
	case checks.FieldSample:
		return nil
	case checks.FieldSource:
		if v.stage == checks.Recheck {
			return v.setup.to
		}
	case checks.FieldPrefix, checks.FieldCopyList:
		if v.setup.options != nil {
			return nil
		}
	}
	return v.setup.from
}

// Stop ends the run at once.
func (w *Window) Stop() {
	if w.running == "" {
		return
	}
	w.views[w.running].head.say(statusBadge(checks.Running), "Stopping", "")
	w.run.stop()
}
