package checks

import (
	"context"
	"fmt"
	"sync"

	"loadline/checks/share"
	"loadline/checks/walk"
)

// A Finding is one thing that is wrong in one place.
type Finding struct {
	// Path is relative to its source, "/" between parts; empty speaks of the whole job. Raw
	// bytes: show it through names.Quote.
	Path   string
	Source int // which of Job.Disks Path is on
	Rule   *Rule
	Level  Level
	Spared Level  // what Level would be, where it is a note since a copy list leaves this out
	Size   int64  // bytes of the file; 0 for folders and the whole job
	Detail string // the number and the limit: "name is 271 bytes, the share takes 255"
	// Remedy replaces Rule.Fix where one finding wants another.
	Remedy string
	// Part is the part of the file that it speaks of; nil: the whole.
	Part *Part
}

// A Part is a part of a file, in bytes.
type Part struct{ Offset, Length int64 }

// Fix is what the person can do about it.
func (f *Finding) Fix() string {
	if f.Remedy != "" {
		return f.Remedy
	}
	return f.Rule.Fix
}

// A Fact is one number behind a verdict, with its limit in Text: "Longest name: 255 of 255 bytes".
type Fact struct {
	Key   string // key in JSON, lower case with underscores
	Value any    // what JSON holds
	Text  string // what people read
	// Commands are what Text speaks of, ready to be typed: shown each on a line of its own, never broken.
	Commands []string
}

// A Pass is one run of one check: its findings, facts and summary. Its status follows from them.
type Pass struct {
	Check *Check
	Job   *Job
	State any // what Check.Begin returned

	run      *run
	shards   []shard
	mu       sync.Mutex
	outside  []Finding // added outside the walk
	counts   map[*Rule]int64
	facts    []Fact
	summary  string
	reason   string    // why it could not judge; makes the status Unknown
	notAsked *NotAsked // set where the reason is that nobody asked for it
	begun    bool
	ended    bool // Finish came to its end
}

// shard holds what one worker found; a worker never runs twice at a time, so none needs a lock.
type shard struct {
	found   [][]Finding // in blocks: a million findings must not be copied each time they outgrow a slice
	counts  map[*Rule]int64
	details map[string]string // equal details share their bytes
	// The path of the entry flagged last: several rules may flag one.
	dir, name, path string
	_               [64]byte // keeps two workers' shards off one cache line
}

const (
	findingBlock = 1024
	detailsKept  = 256
)

func (s *shard) add(f Finding) {
	last := len(s.found) - 1
	if last < 0 || len(s.found[last]) == cap(s.found[last]) {
		size := findingBlock
		if last < 0 {
			size = 16
		}
		s.found = append(s.found, make([]Finding, 0, size))
		last++
	}
	s.found[last] = append(s.found[last], f)
}

// shared returns a string equal to detail that others use too, where it is a common one.
func (s *shard) shared(detail string) string {
	if kept, ok := s.details[detail]; ok {
		return kept
	}
	if len(s.details) < detailsKept {
		if s.details == nil {
			s.details = map[string]string{}
		}
		s.details[detail] = detail
	}
	return detail
}

// Flag records a finding of the rule's usual level on one entry. For use in Visit.
func (pass *Pass) Flag(d *walk.Dir, e *walk.Entry, r *Rule, format string, args ...any) {
	pass.FlagLevel(d, e, r, r.Level, format, args...)
}

// FlagLevel is Flag with a level of its own. For use in Visit.
func (pass *Pass) FlagLevel(d *walk.Dir, e *walk.Entry, r *Rule, level Level, format string, args ...any) {
	s := &pass.shards[d.Worker]
	if s.name != e.Name || s.dir != d.Path || s.path == "" {
		s.dir, s.name, s.path = d.Path, e.Name, d.Join(e.Name)
	}
	f := Finding{Path: s.path, Source: d.Source, Rule: r, Level: level, Detail: format}
	if e.Kind == walk.File && !e.Failed {
		f.Size = e.Size
	}
	if len(args) > 0 {
		f.Detail = s.shared(sprintf(format, args...))
	}
	s.add(f)
}

// sprintf is fmt.Sprintf, which is slow to say that a text is ready: most are.
func sprintf(format string, args ...any) string {
	if text, ready := args[0].(string); ready && len(args) == 1 && format == "%s" {
		return text
	}
	return fmt.Sprintf(format, args...)
}

// FlagFinding records a ready finding. For use in Visit.
func (pass *Pass) FlagFinding(d *walk.Dir, f Finding) {
	f.Source = d.Source
	pass.shards[d.Worker].add(f)
}

// Count adds to the number of a rule without a finding. For use in Visit, with Counted rules.
func (pass *Pass) Count(d *walk.Dir, r *Rule, n int64) {
	if n == 0 {
		return
	}
	s := &pass.shards[d.Worker]
	if s.counts == nil {
		s.counts = map[*Rule]int64{}
	}
	s.counts[r] += n
}

// Add records a finding outside the walk. Safe for concurrent use.
func (pass *Pass) Add(f Finding) {
	pass.mu.Lock()
	defer pass.mu.Unlock()
	pass.outside = append(pass.outside, f)
}

// FlagJob records a finding of the rule's usual level about the whole job.
func (pass *Pass) FlagJob(r *Rule, format string, args ...any) {
	pass.Add(Finding{Rule: r, Level: r.Level, Detail: fmt.Sprintf(format, args...)})
}

// Describe lets a check fill in what only it knows of the report as a whole, once all have ended.
func (pass *Pass) Describe(tell func(*Report)) {
	pass.run.mu.Lock()
	defer pass.run.mu.Unlock()
	pass.run.describe = append(pass.run.describe, tell)
}

// Ended returns the results of the checks that have ended before in this run. For use in Finish.
func (pass *Pass) Ended() []Result { return pass.run.results }

// Worst returns the worst level found so far, and whether anything was. For use in Finish.
func (pass *Pass) Worst() (worst Level, found bool) {
	see := func(list []Finding) {
		for i := range list {
			worst, found = max(worst, list[i].Level), true
		}
	}
	see(pass.outside)
	for i := range pass.shards {
		for _, block := range pass.shards[i].found {
			see(block)
		}
	}
	return worst, found
}

// Context ends when the run is stopped. It is for work that a check does beside the walk; Finish has its
// own.
func (pass *Pass) Context() context.Context { return pass.run.ctx }

// SourceMount returns the row of the mount table that covers one of the sources, by its number in Job.Disks.
// The table answers without asking the disk.
func (pass *Pass) SourceMount(source int) (share.Mount, bool) { return pass.run.sourceMount(source) }

// Fact records a number for the card and the reports.
func (pass *Pass) Fact(key string, value any, format string, args ...any) {
	pass.mu.Lock()
	defer pass.mu.Unlock()
	pass.facts = append(pass.facts, Fact{Key: key, Value: value, Text: fmt.Sprintf(format, args...)})
}

// Commands records commands that the person may type, and what they are for.
func (pass *Pass) Commands(key, text string, commands ...string) {
	pass.mu.Lock()
	defer pass.mu.Unlock()
	pass.facts = append(pass.facts, Fact{Key: key, Value: commands, Text: text, Commands: commands})
}

// Summarize sets the one line that stands under the title.
func (pass *Pass) Summarize(format string, args ...any) {
	pass.mu.Lock()
	defer pass.mu.Unlock()
	pass.summary = fmt.Sprintf(format, args...)
}

// Workers is how many goroutines may call Visit: d.Worker is below it.
func (pass *Pass) Workers() int { return len(pass.shards) }

// Earlier returns the pass of a check that ran before in the same run; nil if it is not in the list.
func (pass *Pass) Earlier(c *Check) *Pass { return pass.run.passes[c] }

// StateOf returns the state of a check that ran before in the same run, nil if it has none or
// could not judge.
func StateOf[T any](pass *Pass, c *Check) *T {
	if o := pass.Earlier(c); o != nil && o.reason == "" {
		s, _ := o.State.(*T)
		return s
	}
	return nil
}

// Tally returns the totals of the walk. For use in Finish.
func (pass *Pass) Tally() *Tally { return pass.run.tally }

// Total returns how many findings a rule has so far. For use in Finish.
func (pass *Pass) Total(r *Rule) int64 {
	n := pass.counts[r]
	for i := range pass.shards {
		n += pass.shards[i].counts[r]
		for _, block := range pass.shards[i].found {
			for j := range block {
				if block[j].Rule == r {
					n++
				}
			}
		}
	}
	for i := range pass.outside {
		if pass.outside[i].Rule == r {
			n++
		}
	}
	return n
}

// NewPass makes a pass outside Run, for tests of one check. Workers is how many goroutines may use the methods
// for Visit, each with a walk.Dir.Worker below it.
func NewPass(c *Check, job *Job, workers int) *Pass {
	p := newPass(&run{ctx: context.Background(), job: job}, c, workers)
	if c.Begin != nil {
		p.State = c.Begin(p)
	}
	return p
}

func newPass(r *run, c *Check, workers int) *Pass {
	return &Pass{Check: c, Job: r.job, run: r, shards: make([]shard, max(workers, 1))}
}

// abandoned returns a pass that could not judge, to stand for one whose walk was left: workers that hang in
// the system may still write to the old one.
func (pass *Pass) abandoned() *Pass {
	n := newPass(pass.run, pass.Check, len(pass.shards))
	n.begun, n.reason = true, sentence(errStopped)
	return n
}

// Close ends a pass: findings sorted, rules counted, status derived. A reason says why the check
// could not judge; it is empty where it could.
func (pass *Pass) Close(reason string) Result {
	pass.reason = reason
	pass.mu.Lock()
	defer pass.mu.Unlock()
	blocks := [][]Finding{pass.outside}
	rules := map[string]int64{}
	for i := range pass.shards {
		blocks = append(blocks, pass.shards[i].found...)
		for r, k := range pass.shards[i].counts {
			rules[r.ID] += k
		}
		pass.shards[i] = shard{}
	}
	pass.outside = nil
	for _, b := range blocks {
		pass.Job.spare(b)
	}
	all := sorted(blocks)
	res := Result{
		Check: pass.Check, ID: pass.Check.ID, Title: pass.Check.Title, Summary: pass.summary,
		Facts: pass.facts, Rules: rules, Findings: all, Reason: pass.reason,
		Optional: pass.notAsked != nil && pass.notAsked.Optional,
	}
	res.tally()
	res.Status = Derive(res.Levels, pass.reason)
	if res.Summary == "" {
		res.Summary = pass.reason
	}
	return res
}

// tally counts the findings by rule and level.
func (r *Result) tally() {
	r.Worst = map[string]Level{}
	var rule *Rule // of the findings at hand, which are often many of one rule
	n, worst := int64(0), Note
	note := func() {
		if n > 0 {
			r.Rules[rule.ID] += n
			r.Worst[rule.ID] = max(r.Worst[rule.ID], worst)
		}
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		if f.Rule != rule {
			note()
			rule, n, worst = f.Rule, 0, Note
		}
		n++
		worst = max(worst, f.Level)
		r.Levels[f.Level]++
	}
	note()
}

// Derive is the only place where a status is made: the worst finding, or Unknown where the check
// could not look. What it did find before it could not go on is not hidden: a fail stays a fail.
func Derive(levels [3]int, reason string) Status {
	switch {
	case levels[Fail] > 0:
		return Failed
	case reason != "":
		return Unknown
	case levels[Warn] > 0:
		return Warned
	}
	return Passed
}

// NotAsked is the error of a check that could judge, had it been asked to.
type NotAsked struct {
	Why string // a whole sentence
	// Optional checks leave the verdict as it is while nobody asks for them; the words of the verdict say
	// so all the same.
	Optional bool
}

// Error returns why.
func (e *NotAsked) Error() string { return e.Why }
