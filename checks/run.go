package checks

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode"
	"unicode/utf8"

	"loadline/checks/share"
	"loadline/checks/walk"
)

const progressEvery = 100 * time.Millisecond

// An Event tells what a run is doing. Events come one at a time, from one goroutine at a time.
type Event struct {
	// Check is the check that began (Result nil) or ended (Result set); nil for mere progress.
	Check  *Check
	Result *Result
	Progress
}

// Progress counts what a run has done.
type Progress struct {
	Phase   string // what is going on, for people: "Reading the source"
	Elapsed time.Duration
	Folders int64
	Entries int64
	Bytes   int64
	Done    float64       // 0 to 1; negative while unknown
	Left    time.Duration // estimated; negative while unknown
}

// A run is one pass over a list of checks.
type run struct {
	job    *Job
	passes map[*Check]*Pass
	tally  *Tally
	watch  func(Event)
	mu     sync.Mutex // events come one at a time

	started  time.Time
	phase    atomic.Pointer[phase]
	progress walk.Progress

	mountOnce  sync.Once
	mount      share.Mount // of the source
	mountKnown bool
}

// phase is what the run does at the moment.
type phase struct {
	text  string
	began time.Time
	done  float64 // 0 to 1; negative while unknown
}

// Run judges a job by the checks of a list, in their order, and returns the report. It tells watch
// (if not nil) what it does: never two events at a time, mere progress at most ten a second.
//
// A job that cannot be run returns an error that wraps ErrBadJob. If ctx ends, Run returns at once
// with ctx's error and a report whose Stopped is set: the checks that had not ended are Unknown.
// A call that hangs in the system is left behind, never waited for.
func Run(ctx context.Context, job Job, list []*Check, watch func(Event)) (*Report, error) {
	if err := Validate(list); err != nil {
		return nil, err
	}
	if err := job.settle(ctx); err != nil {
		return nil, err
	}
	if watch == nil {
		watch = func(Event) {}
	}
	r := &run{job: &job, passes: map[*Check]*Pass{}, watch: watch, tally: newTally(0, nil), started: time.Now()}
	stopPump := r.pump()
	defer stopPump()

	options := walk.Options{Workers: job.Workers, Progress: &r.progress}
	workers := options.Resolve(job.Source)
	options.Workers = workers
	for _, c := range list {
		r.passes[c] = newPass(r, c, workers)
	}
	rep := &Report{Stage: job.Stage, Job: job, Version: job.Version, Started: job.Now(), Verdict: Warned}
	walked := false
	for i, c := range list {
		if c.Visit != nil && !walked {
			walked = true
			if err := r.walk(ctx, list[i:], options); err != nil && ctx.Err() == nil {
				return nil, fmt.Errorf("%w: %w", ErrBadJob, err)
			}
		}
		res, err := r.finish(ctx, c)
		if err != nil {
			return nil, err
		}
		rep.Checks = append(rep.Checks, res)
	}
	rep.Verdict = Verdict(rep.Checks)
	rep.Totals = r.tally.Totals
	rep.Largest = r.tally.largest(rep.Checks)
	rep.Finished = job.Now()
	rep.Stopped = ctx.Err() != nil
	r.describe(rep)
	return rep, ctx.Err()
}

// walk passes once over the source for all checks that can judge.
func (r *run) walk(ctx context.Context, list []*Check, o walk.Options) error {
	r.enter("Reading the source", -1)
	type visitor struct {
		pass  *Pass
		visit func(*Pass, *walk.Dir)
	}
	var visitors []visitor
	for _, c := range list {
		if c.Visit == nil {
			continue
		}
		if t := r.passes[c]; r.begin(t) {
			visitors = append(visitors, visitor{t, c.Visit})
		}
	}
	tally := newTally(o.Workers, r.job.CopyList)
	r.tally = tally
	o.Visit = func(d *walk.Dir) {
		tally.visit(d)
		for _, v := range visitors {
			v.visit(v.pass, d)
		}
	}
	err := walk.Walk(ctx, r.job.Source, o)
	if ctx.Err() != nil {
		// Abandoned workers may still write what they counted: nothing of it is read again.
		for _, v := range visitors {
			r.passes[v.pass.Check] = v.pass.anew(errStopped)
		}
		r.tally = newTally(0, nil)
		return err
	}
	tally.end()
	return err
}

var errStopped = errors.New("stopped before it was done")

// begin makes a check ready to look, or gives the reason why it cannot.
func (r *run) begin(pass *Pass) bool {
	if pass.begun {
		return pass.reason == ""
	}
	pass.begun = true
	r.tell(Event{Check: pass.Check})
	if pass.Check.NeedsShare && r.job.Share == "" {
		pass.reason = "No share chosen yet."
		return false
	}
	for _, n := range pass.Check.Needs {
		if o := r.passes[n]; o != nil && o.reason != "" {
			pass.reason = fmt.Sprintf("Rests on “%s”, which could not be checked.", n.Title)
			if o.reason == reasonNoTrial {
				pass.reason = reasonNoTrial
			}
			return false
		}
	}
	if pass.Check.Begin != nil {
		pass.State = pass.Check.Begin(pass)
	}
	return true
}

// finish concludes one check and tells of it. Its error is one that makes the whole job impossible.
func (r *run) finish(ctx context.Context, c *Check) (Result, error) {
	t := r.passes[c]
	if r.begin(t) && ctx.Err() == nil && c.Finish != nil {
		err := c.Finish(ctx, t)
		if errors.Is(err, ErrBadJob) {
			return Result{}, err
		}
		if err != nil {
			t.reason = sentence(err)
		}
		t.ended = ctx.Err() == nil
	}
	if ctx.Err() != nil && t.reason == "" && !t.ended {
		t.reason = sentence(errStopped)
	}
	res := t.Close(t.reason)
	r.tell(Event{Check: c, Result: &res})
	return res, nil
}

// sentence makes an error's text one for people: a capital and a full stop.
func sentence(err error) string {
	s := Plain(strings.ReplaceAll(err.Error(), "\n", "; "))
	if s == "" {
		return s
	}
	first, size := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(first)) + s[size:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// enter starts a phase.
func (r *run) enter(text string, done float64) {
	r.phase.Store(&phase{text: text, began: time.Now(), done: done})
}

// step says how far the phase is.
func (r *run) step(text string, done float64) {
	p := r.phase.Load()
	began := time.Now()
	if p != nil && p.text == text {
		began = p.began
	}
	r.phase.Store(&phase{text: text, began: began, done: done})
}

// tell passes an event on, one at a time.
func (r *run) tell(e Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	e.Progress = r.now()
	r.watch(e)
}

// pump tells of progress until the returned function is called.
func (r *run) pump() (stop func()) {
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(progressEvery)
		defer tick.Stop()
		for {
			select {
			case <-quit:
				return
			case <-tick.C:
				r.tell(Event{})
			}
		}
	}()
	return func() { close(quit); <-done }
}

func (r *run) now() Progress {
	p := Progress{
		Elapsed: time.Since(r.started),
		Folders: r.progress.Folders.Load(),
		Entries: r.progress.Entries.Load(),
		Bytes:   r.progress.Bytes.Load(),
		Done:    -1, Left: -1,
	}
	ph := r.phase.Load()
	if ph == nil {
		return p
	}
	p.Phase, p.Done = ph.text, ph.done
	if p.Done < 0 && p.Entries > 0 && r.job.Expect > 0 {
		p.Done = min(float64(p.Entries)/float64(r.job.Expect), 0.99)
	}
	if since := time.Since(ph.began); p.Done > 0.02 && since > time.Second {
		p.Left = time.Duration(float64(since) * (1 - p.Done) / p.Done)
	}
	return p
}

// describe fills in where the report was made.
func (r *run) describe(rep *Report) {
	rep.Source = Place{Path: r.job.Source, Free: -1, Total: -1}
	if m, ok := r.sourceMount(); ok {
		rep.Source.From, rep.Source.Type, rep.Source.Options = m.From, m.Type, m.Options
	}
	rep.Machine = machine()
	if t := r.passes[shareWrites]; t != nil && t.reason == "" {
		rep.Trial, _ = t.State.(*share.Result)
	}
	if r.job.Share == "" {
		return
	}
	p := &Place{Path: r.job.Share, Prefix: r.job.Prefix, Free: -1, Total: -1}
	if t := r.passes[shareMounted]; t != nil {
		if s, ok := t.State.(*shareState); ok && s.facts != nil {
			f := s.facts
			p.From, p.Type, p.Options = f.Mount.From, f.Mount.Type, f.Mount.Options
			p.Free, p.Total, p.NameMax = f.Space.Free, f.Space.Total, f.Space.NameLimit
			rep.Invented = f.Invented
		}
	}
	rep.Share = p
}
