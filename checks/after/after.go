package after

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"sync"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/compact"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// Options are the wishes of a caller; the zero value checks, but remembers and writes nothing.
type Options struct {
	// State is a folder on this computer: what is proven is remembered there, so that a run that
	// was stopped is resumed, and manifests are kept there. Empty: neither.
	State string
	// Manifest, if set, is the file of the manifest on this computer. It must not exist.
	Manifest string
	// Bag, if set, is a new folder for the tag files of a bag (RFC 8493) whose payload is the copy.
	Bag string
	// NoMD5 leaves MD5 out of the manifest: faster where two cores are too few. Most listings of
	// stores hold no better checksum.
	NoMD5 bool
	// Fresh forgets what earlier runs have proven.
	Fresh bool
	// Silence is how long a side may stay silent while its files are read; 0 means one minute,
	// the time after which NFS over TCP repeats a request (nfs(5), timeo=600).
	Silence time.Duration

	// open opens a file to be read; nil means disk.OpenPast. For tests of disks that hang.
	open func(path string) (*disk.Reader, error)
}

const defaultSilence = time.Minute

// A Stage is one run of the stage after copying. Make a new one for every run.
type Stage struct {
	a    *after
	list []*checks.Check
}

// New prepares the stage after copying.
func New(o Options) *Stage {
	o.Silence = cmp.Or(o.Silence, defaultSilence)
	a := &after{o: &o, tree: &tree{byPath: map[string]int32{}}, journalEvery: 5 * time.Second}
	return &Stage{a: a, list: checksOf(a)}
}

// List returns the checks in their order.
func (s *Stage) List() []*checks.Check { return s.list }

// Run compares the source of a job with its copy on the share, and reports; see checks.Run. Besides,
// it writes the manifest if everything is proven: Report.Manifest then names the file on this computer.
// Memory: about 200 bytes a file, and 70 MB of blocks.
func (s *Stage) Run(ctx context.Context, job checks.Job, watch func(checks.Event)) (*checks.Report, error) {
	a := s.a
	job.Stage = checks.After
	if job.Share == "" {
		return nil, &checks.JobError{Field: checks.FieldShare, Err: errors.New("no share chosen"), Hint: "choose the folder where the share is mounted"}
	}
	if err := a.refuse(ctx, &job); err != nil {
		return nil, err
	}
	defer compact.Lean()()
	defer a.close()
	rep, err := checks.Run(ctx, job, s.list, watch)
	if rep != nil {
		rep.Manifest = a.manifest
	}
	return rep, err
}

// Run is Run of a new Stage.
func Run(ctx context.Context, job checks.Job, o Options, watch func(checks.Event)) (*checks.Report, error) {
	return New(o).Run(ctx, job, watch)
}

// after is what the checks of one run share.
type after struct {
	o    *Options
	tree *tree
	// What is to be read on each side, and what is remembered of it.
	lists  [2]digest.List
	places [2]*digest.Places
	memory [2]*digest.Memory
	recall [2]error // why nothing is remembered

	facts    *share.Facts
	copy     string // folder of the copy
	prefix   string // of it on the share
	leftOut  int64  // files of clutter that were not copied
	unlisted int64  // files that are neither on the copy list nor on the share
	manifest string
	noState  error // why nothing can be remembered: the state folder is in the source, or does not respond

	flushed string // how what this computer held was sent to the share

	// onProven, if set, is told how many files are proven: for tests.
	onProven func(int64)
	// journalEvery is how much time of reading a crash may cost; 0: as usual.
	journalEvery time.Duration

	mu     sync.Mutex
	extras extras
	held   []*walk.Dir    // folders on the share that may have another normal form on the source
	forms  map[int]string // paths on the share of files that have another normal form there
}

// The two sides of a comparison.
const (
	sourceSide = iota
	shareSide
)

// begin opens what is remembered of the source. The walk over it comes next.
func (a *after) begin(pass *checks.Pass) any {
	ctx := pass.Context()
	a.settleState(ctx, pass.Job)
	a.remember(ctx, sourceSide, pass.Job.Source, pass.Job.Deadline)
	return nil
}

// remember opens what is remembered of a side.
func (a *after) remember(ctx context.Context, side int, root string, deadline time.Duration) {
	places, err := digest.At(ctx, root, deadline)
	if err != nil {
		a.recall[side] = err
		return
	}
	a.places[side] = places
	if a.o.State == "" {
		return
	}
	if a.noState != nil {
		a.recall[side] = a.noState
		return
	}
	a.memory[side], a.recall[side] = digest.RecallIn(ctx, a.o.State, places.ID())
	if m := a.memory[side]; m != nil && a.journalEvery > 0 {
		m.Every = a.journalEvery
	}
}

func (a *after) close() {
	for i := range a.lists {
		a.lists[i].Close()
		_ = a.memory[i].Close() // told where it was written
	}
}

// fail reports a failure.
func (a *after) fail(pass *checks.Pass, r *checks.Rule, path string, size int64, format string, args ...any) {
	pass.Add(checks.Finding{Path: path, Rule: r, Level: checks.Fail, Size: size, Detail: fmt.Sprintf(format, args...)})
}

// visit takes a folder of the source.
func (a *after) visit(pass *checks.Pass, d *walk.Dir) {
	if d.Err != nil {
		a.unreadable(pass, unreadableSource, d.Path, d.Path, fmt.Sprintf("the folder cannot be listed: %s", checks.Reason(d.Err)), d.Err)
	}
	number := a.tree.addFolder(d)
	a.lists[sourceSide].Add(d, func(e *walk.Entry) (int, bool) { return number(e.Name), true })
	if a.memory[sourceSide].Known() > 0 && !a.o.Fresh {
		a.recallFolder(d, number)
	}
	for i := range d.Entries {
		e := &d.Entries[i]
		switch {
		case e.Failed:
			a.unreadable(pass, unreadableSource, d.Join(e.Name), d.Path, checks.Reason(d.Why(e.Name)), d.Why(e.Name))
		case e.Kind == walk.Link:
			pass.Flag(d, e, linkNotChecked, "a link has no content")
		case e.Kind == walk.Other:
			pass.Flag(d, e, specialNotChecked, "a special file has no content")
		}
	}
}

// recallFolder looks which files of a folder an earlier run has read.
func (a *after) recallFolder(d *walk.Dir, number func(name string) int) {
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Kind != walk.File || e.Failed {
			continue
		}
		r, ok := a.memory[sourceSide].Find(a.places[sourceSide].IdentIn(d, e))
		if !ok || !r.Whole() {
			continue
		}
		a.tree.mu.Lock()
		f := a.tree.files.At(number(e.Name))
		f.sums, f.before = r.Sums, r.When.Unix()
		f.flags |= readBefore
		a.tree.mu.Unlock()
	}
}

// unreadable reports what cannot be read. What a desktop or an operating system keeps for itself is no loss: a
// Mac keeps the folders of clutter in the root of a disk from everybody.
func (a *after) unreadable(pass *checks.Pass, r *checks.Rule, path, folder, detail string, err error) {
	f := checks.Finding{Path: path, Rule: r, Level: checks.Fail, Detail: detail}
	if errors.Is(err, fs.ErrPermission) && names.ClutterAbove(folder) != "" {
		f.Level, f.Remedy = checks.Note, keptBySystem
	}
	pass.Add(f)
}

const keptBySystem = "Nothing to do: what is kept there belongs to the desktop or the operating system."
