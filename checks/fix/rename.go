package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"

	"loadline/checks/names"
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
