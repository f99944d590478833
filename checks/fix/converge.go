package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"syscall"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// preflight makes sure, before anything changes, that every file is the one that was planned and
// that no new name is taken.
func (e *engine) preflight(ctx context.Context) error {
	for _, m := range e.j.moves {
		m.place = atOld
	}
	changed := func(path, what string) error {
		return fmt.Errorf("%w (%s %s)", ErrChanged, names.Quote(path), what)
	}
	dates := map[string]bool{}
	date := func(path string) error {
		if dates[path] {
			return nil
		}
		dates[path] = true
		info, err := e.root.Lstat(cmpOr(path, "."))
		if err != nil {
			return fmt.Errorf("cannot look at the folder %s: %w", names.Quote(path), explain(err))
		}
		e.j.folders = append(e.j.folders, dated{path, identify(info)})
		return nil
	}
	if err := date(""); err != nil {
		return err
	}
	for _, dir := range e.dirs {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := date(dir); err != nil {
			return err
		}
		list, err := e.list(cmpOr(dir, "."))
		if err != nil {
			return fmt.Errorf("cannot list the folder %s: %w", names.Quote(dir), explain(err))
		}
		leaves, others := map[string]bool{}, map[string]bool{}
		for _, m := range e.byDir[dir] {
			leaves[m.from] = true
		}
		for name := range list {
			if !leaves[name] {
				others[fold(name)] = true
			}
		}
		for _, m := range e.byDir[dir] {
			path := join(dir, m.from)
			info, err := e.root.Lstat(path)
			if errors.Is(err, fs.ErrNotExist) {
				return changed(path, "is gone")
			}
			if err != nil {
				return fmt.Errorf("cannot look at %s: %w", names.Quote(path), explain(err))
			}
			if !identify(info).unchanged(m.id, e.lasting) {
				return changed(path, "was written to or replaced")
			}
			if others[fold(m.to)] {
				return changed(join(dir, m.to), "has come up")
			}
			if m.id.Kind == walk.Folder {
				if err := date(path); err != nil {
					return err
				}
			}
		}
	}
	return e.preflightMade(ctx, date)
}

func (e *engine) list(path string) (map[string]bool, error) {
	d, err := openIn(e.root, path)
	if err != nil {
		return nil, err
	}
	defer d.Close()
	all, err := d.Readdirnames(-1)
	if err != nil {
		return nil, err
	}
	out := make(map[string]bool, len(all))
	for _, n := range all {
		out[n] = true
	}
	return out, nil
}

// survey finds out, after a crash or another program, where everything is. It goes top down, so
// that folders above are known first. What the journal says counts where the disk bears it out.
func (e *engine) survey(ctx context.Context) error {
	dirs := slices.Clone(e.dirs)
	slices.Reverse(dirs)
	for _, dir := range dirs {
		if err := ctx.Err(); err != nil {
			return err
		}
		now := e.current(dir)
		list, err := e.list(now)
		if noFolder(err) {
			continue // the folder is gone, and with it what was in it
		}
		if err != nil {
			return fmt.Errorf("cannot list the folder %s: %w", names.Quote(dir), explain(err))
		}
		forms, taken := spellings(list), map[string]bool{}
		for _, sure := range []bool{true, false} {
			for _, m := range e.byDir[dir] {
				if m.place == "" {
					e.locate(m, now, list, forms, taken, sure)
				}
			}
		}
		if err := e.dropGuards(now, e.byDir[dir], list, forms, taken); err != nil {
			return err
		}
	}
	for _, m := range e.j.moves {
		if m.made != nil {
			if err := e.locateMade(ctx, m); err != nil {
				return explain(err)
			}
		}
	}
	return nil
}

// noFolder reports whether a folder is gone, or something else is in its place.
func noFolder(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR)
}

// expected returns where a move can be, by its word in the journal, the likeliest first.
func expected(at string) []string {
	switch at {
	case atOld:
		return []string{atOld, atTemp, atNew}
	case atTemp:
		return []string{atTemp, atOld, atNew}
	case atNew:
		return []string{atNew, atTemp, atOld}
	case oldToTemp:
		return []string{atTemp, atOld, atNew}
	case newToTemp:
		return []string{atTemp, atNew, atOld}
	case tempToNew:
		return []string{atTemp, atNew, atOld}
	case tempToOld:
		return []string{atTemp, atOld, atNew}
	case newToOld:
		return []string{atOld, atNew, atTemp}
	}
	return []string{atTemp, atNew, atOld}
}

// locate finds one move in its folder. In the first pass, the sure one, only the likeliest place
// counts, so that a file without a lasting number is not taken for one that has moved on.
func (e *engine) locate(m *move, now string, list map[string]bool, forms map[string]string, taken map[string]bool, sure bool) {
	places := expected(m.at)
	if sure {
		places = places[:1]
	}
	for _, place := range places {
		name := m.name(place)
		as := listedAs(name, list, forms)
		if as == "" || taken[as] {
			continue
		}
		info, err := e.root.Lstat(join(dot(now), name))
		if err != nil || !identify(info).same(m.id, e.lasting) || e.isGuard(m, join(dot(now), name), info) {
			continue
		}
		m.place, taken[as] = place, true
		return
	}
}

func dot(path string) string {
	if path == "." {
		return ""
	}
	return path
}

// forward brings everything to its new name.
func (e *engine) forward(ctx context.Context) (*Outcome, error) {
	if err := e.begin(); err != nil {
		return e.halt(err)
	}
	if err := e.j.state(StateApplying); err != nil {
		return nil, e.stopped(explain(err))
	}
	// What is made is made first, while all that goes in has its old name still.
	for _, m := range e.j.moves {
		if m.made != nil {
			if err := e.fulfil(ctx, m, atNew); err != nil {
				return e.halt(err)
			}
		}
	}
	for _, dir := range e.dirs {
		if err := e.pass(ctx, dir, atNew); err != nil {
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
			if e.clear(e.here(m, m.temp)) != nil {
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

// back brings everything to its old name.
func (e *engine) back(ctx context.Context) (*Outcome, error) {
	if err := errors.Join(e.begin(), e.j.state(StateUndoing)); err != nil {
		return nil, e.stopped(explain(err))
	}
	for _, dir := range slices.Backward(e.dirs) {
		if err := e.pass(ctx, dir, atOld); err != nil {
			return nil, e.stopped(explain(err))
		}
	}
	for _, m := range slices.Backward(e.j.moves) {
		if m.made != nil {
			if err := e.fulfil(ctx, m, atOld); err != nil {
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

// pass brings all of one folder to one place. What would take a name that another still has, or
// its own in another spelling, steps aside first: so chains, rings and changes of case only work,
// on disks that tell capital letters apart and on those that do not.
func (e *engine) pass(ctx context.Context, dir, to string) error {
	from := atOld
	if to == atOld {
		from = atNew
	}
	moves := e.byDir[dir]
	left := map[string]bool{} // folded names that are being given up
	for _, m := range moves {
		if m.place == from {
			left[fold(m.name(from))] = true
		}
	}
	here, err := e.root.Open(e.current(dir))
	if noFolder(err) {
		e.gone(moves)
		return nil
	}
	if err != nil {
		return err
	}
	defer here.Close()
	for _, m := range moves {
		if m.place == from && left[fold(m.name(to))] {
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
			e.gone([]*move{m})
		}
	}
	return e.spelled(dir, moves, to)
}

func (e *engine) gone(moves []*move) {
	for _, m := range moves {
		e.out.Gone = append(e.out.Gone, join(m.dir, m.from))
	}
}

// spelled finds names that the disk keeps in a normal form of its own.
func (e *engine) spelled(dir string, moves []*move, to string) error {
	list, err := e.list(e.current(dir))
	if err != nil {
		return err
	}
	for _, m := range moves {
		if m.place != to || list[m.name(to)] {
			continue
		}
		// Where all else of the name has changed, the plan has told what such a disk does with the rest.
		if names.NFC(m.from) == names.NFC(m.to) || !respells(e.root) {
			e.out.Kept = append(e.out.Kept, join(dir, m.from))
		}
	}
	return nil
}

// rename takes one step: journal first, then the name.
func (e *engine) rename(ctx context.Context, here *os.File, m *move, to string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	e.tell(join(m.dir, m.from))
	now := dot(e.current(m.dir))
	path := join(now, m.name(m.place))
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

// redate gives one folder its date back while the work goes on; whether that worked is told at the end.
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
	now := e.current(f.path)
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
