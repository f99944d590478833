package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// Options are the wishes for applying a plan, going on with one and undoing it. The zero value
// is useful.
type Options struct {
	// StateDir is the folder for journals that are not on the disk; empty means StateDir().
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
	Kept    []string // old paths of names that the disk spells in its own way, whatever it is given
	Dates   []string // folders whose date could not be put back
	Stayed  []Stay   // copies and archives that Undo did not take away
	Cached  bool     // copies or archives may have been read back from this computer's memory only
	// Where content was copied or compared: by which of the system's means the computer was kept awake meanwhile, or
	// why it could not be.
	Awake  string
	Asleep error
}

// A Stay is a copy or an archive that undo leaves, because to remove it might lose something.
type Stay struct {
	Path string
	Why  string
}

// Errors that callers tell apart with errors.Is.
var (
	// ErrBusy: another plan is being applied to the source right now.
	ErrBusy = errors.New("another plan is being applied to this source: wait for it to finish")
	// ErrUnfinished: an earlier plan stopped midway. The text names its journal.
	ErrUnfinished = errors.New("an earlier plan stopped midway: resume or undo it first")
	// ErrChanged: the source is not as it was when the plan was made. Nothing was renamed.
	ErrChanged = errors.New("the source has changed since the plan was made: make a new plan")
	// ErrLater: a later plan must be undone first.
	ErrLater = errors.New("a later plan was applied on top of this one: undo that one first")
)

// ErrRoom: the disk has no room for copies and archives. Nothing was changed.
var ErrRoom = errors.New("there is too little room on the disk")

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
	if err := e.unfinished(); err != nil {
		return nil, err
	}
	e.j = p.newJournal()
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
	return e.apply(ctx)
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
	return e.apply(ctx)
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
	return e.undo(ctx)
}

// newJournal turns the steps into moves.
func (p *Plan) newJournal() *journalFile {
	j := &journalFile{head: head{
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
		dir, from := names.Split(w.Path)
		_, to := names.Split(w.To)
		add(&move{dir: dir, from: from, to: to, made: &made{Target: raw(w.target)}})
	}
	return j
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
