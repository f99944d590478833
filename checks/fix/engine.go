package fix

import (
	"cmp"
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

// An engine works on one source.
type engine struct {
	root    *os.Root
	dir     *os.File // the source folder, which carries the lock
	j       *journalFile
	o       Options
	lasting bool // inode numbers tell files apart
	strict  bool // a file must be as it was planned, to the byte count and date
	plain   bool // the file system has no exclusive rename
	each    bool // no flush of the whole disk is to be had: each file that is made is flushed

	began    time.Time // of the work itself
	halves   int64     // bytes copied plus bytes read back
	allBytes int64     // that the copies hold

	byPath map[string]*move   // renames by old path
	byDir  map[string][]*move // and by the folder that they stand in
	dirs   []string           // those folders, deepest first
	out    Outcome
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

func (e *engine) close() {
	if e.j != nil && e.j.file != nil {
		e.j.file.Close()
	}
	disk.UnlockFolder(e.dir)
	e.dir.Close()
	e.root.Close()
}

func (e *engine) hook(point string) {
	if e.o.test.hook != nil {
		e.o.test.hook(point)
	}
}

// awake keeps the computer from going to sleep while content is copied or compared, which may take hours, until
// release is called.
func (e *engine) awake() (release func()) {
	if !slices.ContainsFunc(e.j.moves, func(m *move) bool { return m.made != nil }) {
		return func() {}
	}
	release, e.out.Awake, e.out.Asleep = disk.Awake("Applying a plan of changes")
	return release
}

// flush waits until names have arrived on the disk, and content where the disk offers that for all of it.
func (e *engine) flush() error {
	way, err := disk.FlushAll(e.dir)
	if err == nil && way == "" {
		err = disk.Flush(e.dir)
	}
	return err
}

// unfinished refuses where a plan stopped midway.
func (e *engine) unfinished() error { return e.refuse(ErrUnfinished, (*Journal).Unfinished) }

// later refuses where another plan was applied after this one.
func (e *engine) later() error {
	return e.refuse(ErrLater, func(j *Journal) bool {
		return j.Path != e.j.path && j.Started.After(e.j.head.Started) && (j.State == StateApplied || j.Unfinished())
	})
}

// refuse returns an error that names the oldest journal of the source that is as described, nil if none is.
func (e *engine) refuse(with error, is func(*Journal) bool) error {
	all, err := Journals(e.root.Name(), e.o.StateDir)
	if err != nil {
		return err
	}
	if i := slices.IndexFunc(all, is); i >= 0 {
		return fmt.Errorf("%w: %s", with, names.Quote(all[i].Path))
	}
	return nil
}

// index finds the renames of each folder.
func (e *engine) index() {
	e.byPath, e.byDir, e.dirs = map[string]*move{}, map[string][]*move{}, nil
	for _, m := range e.j.moves {
		if m.made != nil {
			continue
		}
		e.byPath[names.Join(m.dir, m.from)] = m
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

// folderNow returns where a folder is now that was at a path when the plan was made.
func (e *engine) folderNow(path string) string {
	if path == "" {
		return "."
	}
	now, then := "", ""
	for name := range strings.SplitSeq(path, "/") {
		then = names.Join(then, name)
		if m := e.byPath[then]; m != nil {
			name = m.name(m.place)
		}
		now = names.Join(now, name)
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

// pathNow returns the path of a name in the folder of a move as it is called now.
func (e *engine) pathNow(m *move, name string) string {
	return names.Join(dot(e.folderNow(m.dir)), name)
}

// fullPath returns a path of the whole system. Only reading goes there.
func (e *engine) fullPath(path string) string { return e.root.Name() + "/" + path }

func dot(path string) string {
	if path == "." {
		return ""
	}
	return path
}

func (e *engine) list(path string) (map[string]bool, error) {
	all, err := namesIn(openIn(e.root, path))
	if err != nil {
		return nil, err
	}
	out := make(map[string]bool, len(all))
	for _, n := range all {
		out[n] = true
	}
	return out, nil
}

// noFolder reports whether a folder is gone, or something else is in its place.
func noFolder(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR)
}

func removed(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
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
	onDisk := errors.New("not wanted")
	if !o.InState {
		e.j.inRoot = true
		e.j.path = filepath.Join(source, "."+base)
		if onDisk = write(e.root.OpenFile, "."+base, e.root.Remove); onDisk == nil {
			return disk.Flush(e.dir)
		}
		e.restoreRoot()
	}
	e.j.inRoot = false
	dir := cmp.Or(o.StateDir, StateDir())
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("cannot create the folder for journals %s: %w", names.Quote(dir), explain(err))
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

// reportProgress tells how far the work is.
func (e *engine) reportProgress(path string) {
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
