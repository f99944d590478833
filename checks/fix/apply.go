package fix

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// Options are the wishes for applying a plan, going on with one and undoing it. The zero value
// is useful.
type Options struct {
	// StateDir is the folder for journals that do not lie on the disk; empty means StateDir().
	StateDir string
	// InState puts the journal there even where the disk would take it.
	InState bool
	// Source says where the source is now, for a journal in the state folder whose disk has come
	// back under another path. Empty means where it was.
	Source string
	// Progress, if set, is told before each step, and while content is copied or compared, how far
	// the work is; from the goroutine that works.
	Progress func(Progress)

	test rig
}

// Progress is how far the work is.
type Progress struct {
	Done, Total     int    // renames, copies and archives
	Bytes, AllBytes int64  // of content; a byte counts when it was copied and read back
	Path            string // what is at work, relative to the source
	Elapsed         time.Duration
}

// Part returns how much is done, 0 to 1: of the content where there is any, else of the steps.
func (p Progress) Part() float64 {
	switch {
	case p.AllBytes > 0:
		return float64(p.Bytes) / float64(p.AllBytes)
	case p.Total > 0:
		return float64(p.Done) / float64(p.Total)
	}
	return 0
}

// Left estimates how long the rest takes; negative while too little is done to tell.
func (p Progress) Left() time.Duration {
	part := p.Part()
	if p.Elapsed < 2*time.Second || part < 0.01 {
		return -1
	}
	return time.Duration(float64(p.Elapsed) * max(0, 1-part) / part)
}

// A rig is what tests change: where the program stops, and what the disk cannot do.
type rig struct {
	hook    func(point string) // called before and after every change to the disk
	plain   bool               // as if the system had no exclusive rename
	passing bool               // as if inode numbers did not last
}

// An Outcome tells what was done.
type Outcome struct {
	Journal string   // path of the journal, to undo; empty after Undo, which removes it
	Done    int      // names changed
	Made    int      // copies and archives made, or taken away by Undo
	Gone    []string // planned paths that were there under no name: they were removed since
	Kept    []string // old paths of names that the disk spells in a way of its own, whatever it is told
	Dates   []string // folders whose date could not be put back
	Stayed  []Stay   // copies and archives that Undo did not take away
	Cached  bool     // copies or archives may have been read back from this computer's memory only
}

// Errors that callers tell apart with errors.Is.
var (
	// ErrBusy: another plan is being applied to the source right now.
	ErrBusy = errors.New("another plan is at work on this source: wait until it has ended")
	// ErrUnfinished: an earlier plan stopped midway. The text names its journal.
	ErrUnfinished = errors.New("an earlier plan stopped midway: resume or undo it first")
	// ErrChanged: the source is not as it was when the plan was made. Nothing was renamed.
	ErrChanged = errors.New("the source has changed since the plan was made: make a new plan")
	// ErrLater: a later plan must be undone first.
	ErrLater = errors.New("a later plan was applied on top of this one: undo that first")
)

// A StoppedError tells that the work stopped midway. Every file has its old name, its new one, or
// one that the journal knows; Resume and Undo go on from there.
type StoppedError struct {
	Journal     string
	Done, Total int
	Back        bool // it was on its way back: then only Undo goes on
	Err         error
}

func (e *StoppedError) Error() string {
	why, next := e.Err.Error(), "resume or undo"
	if errors.Is(e.Err, context.Canceled) {
		why = "interrupted"
	}
	if e.Back {
		next = "undo once more"
	}
	return fmt.Sprintf("stopped after %d of %d steps: %s (%s with the journal %s)", e.Done, e.Total, why, next, names.Quote(e.Journal))
}

func (e *StoppedError) Unwrap() error { return e.Err }

// Apply renames. Before anything changes it makes sure that every file is still the one that was
// planned and writes the journal. An error that is a *StoppedError came midway; after any other
// nothing has changed. When ctx ends it stops between two renames.
func (p *Plan) Apply(ctx context.Context, o Options) (*Outcome, error) {
	e, err := open(p.Source, o)
	if err != nil {
		return nil, err
	}
	defer e.close()
	if err := e.unfinished(""); err != nil {
		return nil, err
	}
	e.j = p.journal()
	e.j.hook = e.hook
	if len(e.j.moves) == 0 {
		return &Outcome{}, nil
	}
	e.index()
	if err := e.preflight(ctx); err != nil {
		return nil, err
	}
	if err := e.create(p.Source, o); err != nil {
		return nil, err
	}
	e.strict = true
	return e.forward(ctx)
}

// Resume goes on with a plan that stopped midway.
func Resume(ctx context.Context, journalPath string, o Options) (*Outcome, error) {
	e, err := reopen(journalPath, o)
	if err != nil {
		return nil, err
	}
	defer e.close()
	switch s := State(e.j.head.State); s {
	case StateApplying, StatePlanned, "":
		if len(e.j.moves) == 0 {
			err := e.forget()
			e.restoreRoot()
			return &Outcome{}, err
		}
	case StateApplied:
		return &Outcome{Journal: e.j.path}, nil
	default:
		return nil, fmt.Errorf("the plan is being undone (%s): undo it, it cannot be resumed", s)
	}
	if err := e.survey(ctx); err != nil {
		return nil, e.stopped(err)
	}
	return e.forward(ctx)
}

// Undo gives every file its old name back and every folder its date, and removes the journal. It
// works on a plan that was applied as on one that stopped midway.
func Undo(ctx context.Context, journalPath string, o Options) (*Outcome, error) {
	e, err := reopen(journalPath, o)
	if err != nil {
		return nil, err
	}
	defer e.close()
	if err := e.later(); err != nil {
		return nil, err
	}
	if err := e.survey(ctx); err != nil {
		return nil, e.stopped(err)
	}
	return e.back(ctx)
}

// An engine works on one source.
type engine struct {
	root    *os.Root
	dir     *os.File // the source folder, which carries the lock
	j       *journal
	o       Options
	lasting bool // inode numbers tell files apart
	strict  bool // a file must be as it was planned, to the byte count and date
	plain   bool // the file system has no exclusive rename
	each    bool // no flush of the whole disk is to be had: each file that is made is flushed

	began    time.Time // of the work itself
	halves   int64     // bytes copied plus bytes read back
	allBytes int64     // that the makings hold

	byPath map[string]*move   // renames by old path
	byDir  map[string][]*move // and by the folder that they stand in
	dirs   []string           // those folders, deepest first
	out    Outcome
}

func (e *engine) hook(point string) {
	if e.o.test.hook != nil {
		e.o.test.hook(point)
	}
}

func open(source string, o Options) (*engine, error) {
	root, err := os.OpenRoot(source)
	if err != nil {
		return nil, fmt.Errorf("cannot open the folder %s: %w", names.Quote(source), explain(err))
	}
	dir, err := root.Open(".")
	if err != nil {
		root.Close()
		return nil, fmt.Errorf("cannot open the folder %s: %w", names.Quote(source), explain(err))
	}
	e := &engine{root: root, dir: dir, o: o, plain: o.test.plain, lasting: !o.test.passing && disk.LastingNumbers(dir)}
	if err := disk.LockFolder(dir); err != nil {
		dir.Close()
		root.Close()
		if errors.Is(err, disk.ErrLocked) {
			return nil, ErrBusy
		}
		return nil, fmt.Errorf("cannot lock the folder %s: %w", names.Quote(source), explain(err))
	}
	return e, nil
}

func reopen(journalPath string, o Options) (*engine, error) {
	j, err := openJournal(journalPath, os.O_RDWR)
	if err != nil {
		return nil, err
	}
	source := j.source()
	if !j.inRoot && o.Source != "" {
		source = o.Source
	}
	e, err := open(source, o)
	if err != nil {
		j.file.Close()
		return nil, err
	}
	j.hook = e.hook
	e.j = j
	e.index()
	return e, nil
}

// flush waits until names have arrived on the disk, and content where the disk offers that for all of it.
func (e *engine) flush() error {
	way, err := disk.FlushAll(e.dir)
	if err == nil && way == "" {
		err = disk.Flush(e.dir)
	}
	return err
}

func (e *engine) close() {
	if e.j != nil && e.j.file != nil {
		e.j.file.Close()
	}
	disk.UnlockFolder(e.dir)
	e.dir.Close()
	e.root.Close()
}

// unfinished refuses where a plan, other than the one given, stopped midway.
func (e *engine) unfinished(but string) error {
	all, err := Journals(e.root.Name(), e.o.StateDir)
	if err != nil {
		return err
	}
	for _, j := range all {
		if j.Unfinished() && j.Path != but {
			return fmt.Errorf("%w: %s", ErrUnfinished, names.Quote(j.Path))
		}
	}
	return nil
}

// later refuses where another plan was applied after this one.
func (e *engine) later() error {
	all, err := Journals(e.root.Name(), e.o.StateDir)
	if err != nil {
		return err
	}
	for _, j := range all {
		if j.Path != e.j.path && j.Started.After(e.j.head.Started) && (j.State == StateApplied || j.Unfinished()) {
			return fmt.Errorf("%w: %s", ErrLater, names.Quote(j.Path))
		}
	}
	return nil
}

// journal turns the steps into moves.
func (p *Plan) journal() *journal {
	j := &journal{head: head{
		Loadline: journalMagic, Version: journalVersion, ID: newID(),
		Started: time.Now().UTC(), Source: raw(p.Source), State: string(StatePlanned),
	}}
	add := func(m *move) {
		m.temp = j.tempName(len(j.moves))
		m.at = atOld
		j.moves = append(j.moves, m)
	}
	for i := range p.Steps {
		if s := &p.Steps[i]; s.Changes() {
			add(&move{dir: s.folder.path, from: s.entry.name, to: s.entry.to, id: s.entry.id})
		}
	}
	for _, w := range p.Copies() {
		dir, from := parent(w.Path)
		_, to := parent(w.To)
		add(&move{dir: dir, from: from, to: to, made: &made{Target: raw(w.target)}})
	}
	return j
}

// index finds the renames of each folder.
func (e *engine) index() {
	e.byPath, e.byDir, e.dirs = map[string]*move{}, map[string][]*move{}, nil
	for _, m := range e.j.moves {
		if m.made != nil {
			continue
		}
		e.byPath[join(m.dir, m.from)] = m
		if e.byDir[m.dir] == nil {
			e.dirs = append(e.dirs, m.dir)
		}
		e.byDir[m.dir] = append(e.byDir[m.dir], m)
	}
	slices.SortFunc(e.dirs, func(a, b string) int { return cmp.Or(cmp.Compare(depth(b), depth(a)), cmp.Compare(a, b)) })
}

func depth(path string) int {
	if path == "" {
		return 0
	}
	return 1 + strings.Count(path, "/")
}

// current returns where a folder is now that was at a path when the plan was made.
func (e *engine) current(path string) string {
	if path == "" {
		return "."
	}
	now, then := "", ""
	for name := range strings.SplitSeq(path, "/") {
		then = join(then, name)
		if m := e.byPath[then]; m != nil {
			name = m.name(m.place)
		}
		now = join(now, name)
	}
	return now
}

func (m *move) name(place string) string {
	switch place {
	case atTemp:
		return m.temp
	case atNew:
		return m.to
	}
	return m.from
}

// create writes the journal: beside what it speaks of, or in the state folder where that does not
// work or is not wished.
func (e *engine) create(source string, o Options) error {
	data, err := e.j.encode()
	if err != nil {
		return fmt.Errorf("cannot write the journal: %w", err)
	}
	base := strings.TrimPrefix(journalPrefix, ".") + e.j.head.Started.Format("20060102T150405Z") + "-" + e.j.head.ID + journalSuffix
	write := func(open func(string, int, fs.FileMode) (*os.File, error), path string, remove func(string) error) error {
		e.hook("journal")
		f, err := open(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return err
		}
		_, err = f.Write(data)
		if err = errors.Join(err, disk.Flush(f)); err != nil {
			f.Close()
			return errors.Join(err, remove(path))
		}
		e.j.file = f
		e.hook("journaled")
		return nil
	}
	onDisk := errors.New("not wished")
	if !o.InState {
		e.j.inRoot = true
		e.j.path = filepath.Join(source, "."+base)
		if onDisk = write(e.root.OpenFile, "."+base, e.root.Remove); onDisk == nil {
			return disk.Flush(e.dir)
		}
		e.restoreRoot()
	}
	e.j.inRoot = false
	dir := cmpOr(o.StateDir, StateDir())
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("cannot make the folder for journals %s: %w", names.Quote(dir), explain(err))
	}
	e.j.path = filepath.Join(dir, base)
	if err := write(os.OpenFile, e.j.path, os.Remove); err != nil {
		if !o.InState {
			err = onDisk
		}
		return fmt.Errorf("cannot write the journal: %w", explain(err))
	}
	return nil
}

// forget removes the journal.
func (e *engine) forget() error {
	e.hook("forget")
	e.j.file.Close()
	var err error
	if e.j.inRoot {
		err = e.root.Remove(filepath.Base(e.j.path))
	} else {
		err = os.Remove(e.j.path)
	}
	e.hook("forgotten")
	if err != nil {
		return fmt.Errorf("cannot remove the journal %s: %w", names.Quote(e.j.path), explain(err))
	}
	return nil
}

// begin starts the clock, counts the content that is to be copied, or compared, and finds out how what is
// copied is to be flushed.
func (e *engine) begin() error {
	e.began = time.Now()
	copies := false
	for _, m := range e.j.moves {
		if m.made != nil {
			copies = true
			e.allBytes += m.made.Of.Bytes
		}
	}
	if !copies {
		return nil
	}
	way, err := disk.FlushAll(e.dir)
	e.each = way == ""
	return err
}

// tell tells how far the work is.
func (e *engine) tell(path string) {
	if e.o.Progress != nil {
		e.o.Progress(Progress{
			Done: e.out.Done + e.out.Made, Total: len(e.j.moves),
			Bytes: e.halves / 2, AllBytes: e.allBytes, Path: path, Elapsed: time.Since(e.began),
		})
	}
}

func (e *engine) stopped(err error) error {
	done, end, back := 0, atNew, e.j.head.State == string(StateUndoing)
	if back {
		end = atOld
	}
	for _, m := range e.j.moves {
		if m.place == end {
			done++
		}
	}
	return &StoppedError{Journal: e.j.path, Done: done, Total: len(e.j.moves), Back: back, Err: err}
}

// explain puts what a disk answers into words that help.
func explain(err error) error {
	var outside *readError
	if errors.As(err, &outside) {
		return err
	}
	help := ""
	switch {
	case disk.ReadOnly(err):
		help = "the disk is read-only: switch off its write protection, or copy with the skip list instead"
	case disk.Full(err):
		help = "the disk is full: free some space"
	case disk.Gone(err), disk.MediumError(err) && !disk.NameRefused(err), errors.Is(err, syscall.ENOTCONN), errors.Is(err, syscall.ESTALE):
		help = "the disk has stopped responding: plug it in again"
	case disk.InUse(err):
		help = "it is in use, or another disk is mounted on it"
	case errors.Is(err, fs.ErrPermission):
		help = "you may not change names here: you have no write permission for the folder"
	case errors.Is(err, fs.ErrExist), errors.Is(err, syscall.ENOTEMPTY):
		help = "something else has taken the new name: move it away"
	case disk.NameRefused(err):
		help = "the disk does not take this name"
	default:
		return err
	}
	return fmt.Errorf("%s (%w)", help, err)
}
