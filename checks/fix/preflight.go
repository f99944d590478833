package fix

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"

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
		info, err := e.root.Lstat(cmp.Or(path, "."))
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
		list, err := e.list(cmp.Or(dir, "."))
		if err != nil {
			return fmt.Errorf("cannot list the folder %s: %w", names.Quote(dir), explain(err))
		}
		leaves, others := map[string]bool{}, map[string]bool{}
		for _, m := range e.byDir[dir] {
			leaves[m.from] = true
		}
		for name := range list {
			if !leaves[name] {
				others[names.Fold(name)] = true
			}
		}
		for _, m := range e.byDir[dir] {
			path := names.Join(dir, m.from)
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
			if others[names.Fold(m.to)] {
				return changed(names.Join(dir, m.to), "exists now")
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

// preflightMade makes sure that what is to be made can be, and notes what will go in.
func (e *engine) preflightMade(ctx context.Context, date func(string) error) error {
	any := false
	for _, m := range e.j.moves {
		if m.made == nil {
			continue
		}
		any = true
		path := names.Join(m.dir, m.from)
		info, err := e.root.Lstat(path)
		if err != nil {
			return fmt.Errorf("cannot look at %s: %w", names.Quote(path), explain(err))
		}
		m.id = identify(info)
		if m.made.archive() {
			if err := e.nameFree(m); err != nil {
				return err
			}
		} else if target, err := e.root.Readlink(path); err != nil || target != string(m.made.Target) {
			return fmt.Errorf("%w (the link %s points elsewhere)", ErrChanged, names.Quote(path))
		} else {
			m.made.Owner = ownerOf(info)
		}
		if err := e.measure(ctx, m); err != nil {
			return err
		}
		if err := date(m.dir); err != nil {
			return err
		}
	}
	if !any {
		return nil
	}
	_, err := e.estimate()
	return err
}

// nameFree makes sure that nothing has the name of an archive, or will have it.
func (e *engine) nameFree(m *move) error {
	list, err := e.list(cmp.Or(m.dir, "."))
	if err != nil {
		return fmt.Errorf("cannot list the folder %s: %w", names.Quote(m.dir), explain(err))
	}
	taken := func(name string) bool { return names.Fold(name) == names.Fold(m.to) }
	clash := false
	for name := range list {
		clash = clash || taken(name)
	}
	for _, other := range e.byDir[m.dir] {
		clash = clash || taken(other.to)
	}
	if clash {
		return fmt.Errorf("%w (%s exists now)", ErrChanged, names.Quote(names.Join(m.dir, m.to)))
	}
	return nil
}
