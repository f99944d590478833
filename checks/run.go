package checks

import (
	"context"
	"errors"
	"fmt"
	"os/user"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"loadline/checks/names"
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
	Rate    float64       // bytes a second of what is read; 0 while unknown
	Done    float64       // 0 to 1; negative while unknown
	Left    time.Duration // estimated; negative while unknown
}

// A run is one pass over a list of checks.
type run struct {
	ctx    context.Context
	job    *Job
	passes map[*Check]*Pass
	tally  *Tally
	watch  func(Event)
	mu     sync.Mutex // events come one at a time

	started  time.Time
	phases   phases
	progress walk.Progress // of the walk over the source

	results  []Result        // of the checks that have ended
	describe []func(*Report) // what checks have to say of the report as a whole

	mountOnce sync.Once
	mounts    []share.Mount
}

// Run judges a job by the checks of a list, in their order, and returns the report. It tells watch
// (if not nil) what it does: never two events at a time, mere progress at most ten a second.
//
// A job that cannot be run returns an error that wraps ErrBadJob. If ctx ends, Run returns at once
// with ctx's error and a report whose Interrupted is set: the checks that had not ended are Unknown.
// Without a check that visits folders, a job needs no source.
// A call that hangs in the system is left behind, never waited for.
func Run(ctx context.Context, job Job, list []*Check, watch func(Event)) (*Report, error) {
	if err := Validate(list); err != nil {
		return nil, err
	}
	visits := slices.ContainsFunc(list, func(c *Check) bool { return c.Visit != nil })
	if err := job.settle(ctx, visits); err != nil {
		return nil, err
	}
	if watch == nil {
		watch = func(Event) {}
	}
	working, done := context.WithCancel(ctx)
	defer done() // what a check does beside the walk ends with the run
	r := &run{ctx: working, job: &job, passes: map[*Check]*Pass{}, watch: watch, tally: newTally(0, nil), started: time.Now()}
	stopPump := r.pump()
	defer stopPump()

	options := walk.Options{Workers: job.Workers, Progress: &r.progress}
	workers := 1
	if job.Source != "" {
		for _, d := range job.Disks() {
			o := options
			workers = max(workers, o.Resolve(d.Source))
		}
	}
	options.Workers = workers
	for _, c := range list {
		r.passes[c] = newPass(r, c, workers)
	}
	rep := &Report{Stage: job.Stage, Version: job.Version, Started: job.Now(), Verdict: Warned}
	walked := false
	for i, c := range list {
		if c.Visit != nil && !walked {
			walked = true
			if err := r.walk(ctx, list[i:], options); err != nil && ctx.Err() == nil {
				return nil, err
			}
		}
		if _, err := r.finish(ctx, c); err != nil {
			return nil, err
		}
	}
	rep.Checks = r.results
	rep.Verdict = Verdict(rep.Checks)
	if ctx.Err() != nil && rep.Verdict == Passed {
		rep.Verdict = Warned
	}
	rep.Totals = r.tally.Totals
	rep.Largest = r.tally.largest(rep.Checks)
	rep.Finished = job.Now()
	rep.Interrupted = ctx.Err() != nil
	r.fillPlaces(rep)
	return rep, ctx.Err()
}

// walk passes once over each source, one after the other, for all checks that can judge.
func (r *run) walk(ctx context.Context, list []*Check, o walk.Options) error {
	type visitor struct {
		pass  *Pass
		visit func(*Pass, *walk.Dir)
	}
	var visitors []visitor
	for _, c := range list {
		if c.Visit == nil {
			continue
		}
		if pass := r.passes[c]; r.begin(pass) {
			visitors = append(visitors, visitor{pass, c.Visit})
		}
	}
	tally := newTally(o.Workers, r.job.CopyList)
	r.tally = tally
	var err error
	for i, disk := range r.job.Disks() {
		text := "Reading the source"
		if len(r.job.With) > 0 {
			text = fmt.Sprintf("Reading disk %d of %d", i+1, len(r.job.With)+1)
		}
		r.phases.enter(&Phase{Text: text})
		o.Visit = func(d *walk.Dir) {
			d.Source = i
			tally.visit(d)
			for _, v := range visitors {
				v.visit(v.pass, d)
			}
		}
		if err = walk.Walk(ctx, disk.Source, o); err != nil {
			if len(r.job.With) > 0 {
				err = fmt.Errorf("disk %d, %s: %w", i+1, names.Quote(disk.Source), err)
			}
			err = &JobError{Field: FieldSource, Disk: i, Err: err, Hint: "look at its cable and power, then check again"}
			break
		}
	}
	if ctx.Err() != nil {
		// Abandoned workers may still write what they counted: nothing of it is read again.
		for _, v := range visitors {
			r.passes[v.pass.Check] = v.pass.abandoned()
		}
		r.tally = newTally(0, nil)
		return err
	}
	tally.end()
	return err
}

var errStopped = errors.New("stopped before it finished")

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
			pass.reason = fmt.Sprintf("Depends on “%s”, which could not be checked.", n.Title)
			if o.notAsked != nil {
				pass.reason, pass.notAsked = o.reason, o.notAsked
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
	pass := r.passes[c]
	if r.begin(pass) && ctx.Err() == nil && c.Finish != nil {
		err := c.Finish(ctx, pass)
		if errors.Is(err, ErrBadJob) {
			return Result{}, err
		}
		if err != nil {
			pass.reason = sentence(err)
			errors.As(err, &pass.notAsked)
		}
		pass.ended = ctx.Err() == nil
	}
	if ctx.Err() != nil && pass.reason == "" && !pass.ended {
		pass.reason = sentence(errStopped)
	}
	res := pass.Close(pass.reason)
	r.results = append(r.results, res)
	r.tell(Event{Check: c, Result: &res})
	return res, nil
}

// sentence makes an error's text one for people: a capital and a full stop.
func sentence(err error) string {
	s := Plain(strings.ReplaceAll(err.Error(), "\n", "; "))
	if s == "" {
		return s
	}
	s = Capitalize(s)
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
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
	r.phases.fill(&p, r.job.Expect)
	return p
}

// fillPlaces fills in where the report was made, and what it is about.
func (r *run) fillPlaces(rep *Report) {
	rep.Job = *r.job
	rep.Machine = machine()
	rep.Unproven = Unproven(runtime.GOOS)
	rep.Source = Place{Path: r.job.Source, Free: -1, Total: -1}
	if r.job.Source != "" {
		if m, ok := r.sourceMount(0); ok {
			rep.Source.From, rep.Source.Type, rep.Source.Options = m.From, m.Type, m.Options
		}
	}
	if len(r.job.With) > 0 {
		rep.Sources = r.job.Disks()
	}
	if r.job.Share != "" {
		rep.Share = &Place{Path: r.job.Share, Prefix: r.job.Prefix, Free: -1, Total: -1}
	}
	for _, tell := range r.describe {
		tell(rep)
	}
}

// machine says where and as whom the checks run. Asking the system for it takes longer than checking a
// small folder, so it is asked once.
var machine = sync.OnceValue(func() string {
	parts := system()
	parts = append(parts, runtime.GOARCH, fmt.Sprintf("%d CPUs", runtime.NumCPU()))
	if u, err := user.Current(); err == nil {
		parts = append(parts, "as "+u.Username)
	}
	return strings.Join(parts, ", ")
})

// sourceMount returns the mount row that covers one of the sources. The mount table answers without asking
// the disk.
func (r *run) sourceMount(source int) (share.Mount, bool) {
	r.mountOnce.Do(func() {
		// Where it cannot be read it is empty, and covers nothing.
		r.mounts, _ = share.Mounts(context.Background())
	})
	return share.Covering(r.mounts, r.job.Disk(source).Source)
}
