package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// apply brings everything to its new name.
func (e *engine) apply(ctx context.Context) (*Outcome, error) {
	defer e.awake()()
	if err := e.begin(); err != nil {
		return e.halt(err)
	}
	if err := e.j.state(StateApplying); err != nil {
		return nil, e.stopped(explain(err))
	}
	// What is made is made first, while all that goes in has its old name still.
	for _, m := range e.j.moves {
		if m.made != nil {
			if err := e.makeOrRemove(ctx, m, atNew); err != nil {
				return e.halt(err)
			}
		}
	}
	for _, dir := range e.dirs {
		if err := e.renameIn(ctx, dir, atNew); err != nil {
			return e.halt(err)
		}
	}
	e.restoreDates()
	e.restoreRoot()
	if err := e.flush(); err != nil {
		return e.halt(err)
	}
	if err := e.j.state(StateApplied); err != nil {
		return e.halt(err)
	}
	e.out.Journal = e.j.path
	return &e.out, nil
}

// halt ends midway. Where nothing was changed yet, nothing is left behind either.
func (e *engine) halt(err error) (*Outcome, error) {
	err = explain(err)
	for _, m := range e.j.moves {
		if m.place != atOld && m.place != "" {
			return nil, e.stopped(err)
		}
	}
	for _, m := range e.j.moves {
		if m.at == copying || m.at == packing {
			if e.removeTemp(e.pathNow(m, m.temp)) != nil {
				return nil, e.stopped(err)
			}
		}
	}
	e.restoreDates()
	if e.forget() != nil {
		return nil, e.stopped(err)
	}
	e.restoreRoot()
	return nil, err
}

// undo brings everything to its old name.
func (e *engine) undo(ctx context.Context) (*Outcome, error) {
	defer e.awake()()
	if err := errors.Join(e.begin(), e.j.state(StateUndoing)); err != nil {
		return nil, e.stopped(explain(err))
	}
	for _, dir := range slices.Backward(e.dirs) {
		if err := e.renameIn(ctx, dir, atOld); err != nil {
			return nil, e.stopped(explain(err))
		}
	}
	for _, m := range slices.Backward(e.j.moves) {
		if m.made != nil {
			if err := e.makeOrRemove(ctx, m, atOld); err != nil {
				return nil, e.stopped(explain(err))
			}
		}
	}
	e.restoreDates()
	if err := e.flush(); err != nil {
		return nil, e.stopped(explain(err))
	}
	if err := e.j.state(StateUndone); err != nil {
		return nil, e.stopped(explain(err))
	}
	if err := e.forget(); err != nil {
		return nil, err
	}
	e.restoreRoot()
	return &e.out, nil
}

// renameIn brings all of one folder to one place. What would take a name that another still has, or
// its own in another spelling, steps aside first: so chains, rings and changes of case only work,
// on disks that tell capital letters apart and on those that do not.
func (e *engine) renameIn(ctx context.Context, dir, to string) error {
	from := atOld
	if to == atOld {
		from = atNew
	}
	moves := e.byDir[dir]
	left := map[string]bool{} // folded names that are being given up
	for _, m := range moves {
		if m.place == from {
			left[names.Fold(m.name(from))] = true
		}
	}
	here, err := e.root.Open(e.folderNow(dir))
	if noFolder(err) {
		e.markGone(moves)
		return nil
	}
	if err != nil {
		return err
	}
	defer here.Close()
	for _, m := range moves {
		if m.place == from && left[names.Fold(m.name(to))] {
			if err := e.rename(ctx, here, m, atTemp); err != nil {
				return err
			}
		}
	}
	for _, m := range moves {
		if m.place == from {
			if err := e.rename(ctx, here, m, to); err != nil {
				return err
			}
		}
	}
	for _, m := range moves {
		switch m.place {
		case atTemp:
			if err := e.rename(ctx, here, m, to); err != nil {
				return err
			}
			e.out.Done++
		case to:
			e.out.Done++
		default:
			e.markGone([]*move{m})
		}
	}
	return e.noteKept(dir, moves, to)
}

func (e *engine) markGone(moves []*move) {
	for _, m := range moves {
		e.out.Gone = append(e.out.Gone, names.Join(m.dir, m.from))
	}
}

// noteKept finds names that the disk keeps in a normal form of its own.
func (e *engine) noteKept(dir string, moves []*move, to string) error {
	list, err := e.list(e.folderNow(dir))
	if err != nil {
		return err
	}
	for _, m := range moves {
		if m.place != to || list[m.name(to)] {
			continue
		}
		// Where all else of the name has changed, the plan has told what such a disk does with the rest.
		if names.NFC(m.from) == names.NFC(m.to) || !respells(e.root) {
			e.out.Kept = append(e.out.Kept, names.Join(dir, m.from))
		}
	}
	return nil
}

// rename takes one step: journal first, then the name.
func (e *engine) rename(ctx context.Context, here *os.File, m *move, to string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	e.reportProgress(names.Join(m.dir, m.from))
	now := dot(e.folderNow(m.dir))
	path := names.Join(now, m.name(m.place))
	info, err := e.root.Lstat(path)
	if err != nil {
		return fmt.Errorf("cannot look at %s: %w", names.Quote(path), err)
	}
	if id := identify(info); !id.same(m.id, e.lasting) || e.strict && !id.unchanged(m.id, e.lasting) {
		return fmt.Errorf("%w (%s)", ErrChanged, names.Quote(path))
	}
	if err := e.j.mark(m, m.place+">"+to, true); err != nil {
		return err
	}
	e.hook("rename")
	ours := func(path string, info fs.FileInfo) bool { return e.isGuard(m, path, info) }
	if err := e.exclusive(here, now, m.name(m.place), m.name(to), m.id.Kind, ours); err != nil {
		return fmt.Errorf("cannot rename %s to %s: %w", names.Quote(path), names.Quote(m.name(to)), err)
	}
	m.place = to
	e.hook("renamed")
	return e.j.mark(m, to, false)
}

// exclusive renames in an open folder whose path is dir, never over a name that exists. Where the
// system has no such call, it first takes the new name with a file or an empty folder of its own,
// which only succeeds if the name is free, and renames over that. Ours tells such a guard that a
// crash left.
func (e *engine) exclusive(here *os.File, dir, from, to string, kind walk.Kind, ours func(path string, info fs.FileInfo) bool) error {
	if !e.plain {
		err := disk.RenameNewAt(here, from, to)
		if !errors.Is(err, errors.ErrUnsupported) {
			return err
		}
		e.plain = true
	}
	target := names.Join(dir, to)
	if err := e.guardName(target, kind, ours); err != nil {
		return err
	}
	e.hook("guarded")
	err := disk.RenameOverAt(here, from, to)
	if errors.Is(err, errors.ErrUnsupported) {
		if kind == walk.Folder {
			// There a folder never takes the place of another, not even of an empty one.
			if err := e.root.Remove(target); err != nil {
				return err
			}
		}
		err = e.root.Rename(names.Join(dir, from), target)
	}
	if err != nil {
		// The guard is ours and empty; without the rename it must not stay.
		return errors.Join(err, removed(e.root.Remove(target)))
	}
	return nil
}

func (e *engine) guardName(target string, kind walk.Kind, ours func(path string, info fs.FileInfo) bool) error {
	err := e.makeGuard(target, kind)
	if errors.Is(err, fs.ErrExist) {
		info, lerr := e.root.Lstat(target)
		if lerr == nil && ours(target, info) && e.root.Remove(target) == nil {
			err = e.makeGuard(target, kind)
		}
	}
	return err
}

func (e *engine) makeGuard(target string, kind walk.Kind) error {
	e.hook("guard")
	if kind == walk.Folder {
		return e.root.Mkdir(target, 0o700)
	}
	f, err := e.root.OpenFile(target, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(e.guardText())
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, e.root.Remove(target))
	}
	return nil
}

// guardText is what a file holds that keeps a name: after a crash it shows whose it is.
func (e *engine) guardText() string {
	return "loadline keeps this name for a rename " + e.j.head.ID + "\n"
}

// holdsGuard reports whether a file is a guard, by its text.
func (e *engine) holdsGuard(path string, info fs.FileInfo) bool {
	text := e.guardText()
	if !info.Mode().IsRegular() || info.Size() != int64(len(text)) {
		return false
	}
	b, err := e.root.ReadFile(path)
	return err == nil && string(b) == text
}

// isGuard tells whether a name is held by a guard that a crash left. A file tells by its text. A
// folder does where it is empty and younger than the plan, and the journal says that this very
// name was about to be taken.
func (e *engine) isGuard(m *move, path string, info fs.FileInfo) bool {
	if info.Mode().IsRegular() {
		return e.holdsGuard(path, info)
	}
	if m.id.Kind != walk.Folder || !info.IsDir() || info.ModTime().Before(e.j.head.Started.Add(-guardSlack)) {
		return false
	}
	list, err := e.list(path)
	if err != nil || len(list) > 0 {
		return false
	}
	from, to, way := strings.Cut(m.at, ">")
	dir, name := names.Split(path)
	if !way || m.name(to) != name {
		return false
	}
	// An empty folder can be what was moved. It is the guard only if the other name is there too.
	_, err = e.root.Lstat(names.Join(dir, m.name(from)))
	return err == nil
}

// guardSlack is how far the clock of a disk may be behind, dates in steps of 2 s included
// (FAT, common practice).
const guardSlack = 5 * time.Second

// guardOfMade tells a guard that a crash left where a copy was about to take its place. What takes a
// place is under the other name no more, so an empty folder there is the copy of one.
func (e *engine) guardOfMade(m *move, path string, info fs.FileInfo) bool {
	if m.at != copying && m.at != packing && m.at != linking {
		return false
	}
	if _, err := e.root.Lstat(e.pathNow(m, m.temp)); err != nil {
		return false
	}
	if !m.made.Folder {
		return e.holdsGuard(path, info)
	}
	list, err := e.list(path)
	return info.IsDir() && err == nil && len(list) == 0
}

// restoreDates gives the folders the dates back that they had, the source folder excepted.
func (e *engine) restoreDates() {
	for _, f := range e.j.folders {
		if f.path != "" {
			e.restoreDate(f)
		}
	}
}

func (e *engine) restoreRoot() {
	for _, f := range e.j.folders {
		if f.path == "" {
			e.restoreDate(f)
		}
	}
}

// redate gives one folder its date back while the work goes on; whether that worked is reported at the end.
func (e *engine) redate(path string) {
	for _, f := range e.j.folders {
		if f.path == path {
			_ = e.date(f)
			return
		}
	}
}

func (e *engine) restoreDate(f dated) {
	if e.date(f) != nil {
		e.out.Dates = append(e.out.Dates, f.path)
	}
}

// date gives a folder its date back, if it is still that folder.
func (e *engine) date(f dated) error {
	now := e.folderNow(f.path)
	info, err := e.root.Lstat(now)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case !info.IsDir() || !identify(info).same(f.id, e.lasting) || info.ModTime().Equal(f.id.modTime()):
		return nil
	}
	e.hook("date")
	defer e.hook("dated")
	// Both times are given: some FUSE programs take no notice of one alone, and say nothing.
	return e.setDates(now, disk.AccessTime(info), f.id.modTime())
}

// setDates sets both dates of a file or folder, and looks whether the disk has kept that of the content.
func (e *engine) setDates(path string, access, content time.Time) error {
	// os.Root.Chtimes counts nanoseconds since 1970 in 64 bits: beyond them it would set any date.
	if !content.Equal(time.Unix(0, content.UnixNano())) {
		return errDate
	}
	if !access.Equal(time.Unix(0, access.UnixNano())) {
		access = content
	}
	if err := e.root.Chtimes(path, access, content); err != nil {
		return err
	}
	info, err := e.root.Lstat(path)
	if err == nil && !info.ModTime().Equal(content) {
		err = errDate
	}
	return err
}

var errDate = errors.New("the disk did not keep the date")
