package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"

	"loadline/checks/names"
)

// survey finds out, after a crash or another program, where everything is. It goes top down, so
// that folders above are known first. What the journal says counts where the disk bears it out.
func (e *engine) survey(ctx context.Context) error {
	for _, dir := range slices.Backward(e.dirs) {
		if err := ctx.Err(); err != nil {
			return err
		}
		now := e.folderNow(dir)
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

// expected returns where a move can be, by its word in the journal, the likeliest first.
func expected(at string) []string {
	switch at {
	case atOld:
		return []string{atOld, atTemp, atNew}
	case atNew:
		return []string{atNew, atTemp, atOld}
	case newToOld:
		return []string{atOld, atNew, atTemp}
	case atTemp, oldToTemp, tempToOld:
		return []string{atTemp, atOld, atNew}
	}
	// Between the temporary name and the new one, or a word that was half written.
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
		info, err := e.root.Lstat(names.Join(dot(now), name))
		if err != nil || !identify(info).same(m.id, e.lasting) || e.isGuard(m, names.Join(dot(now), name), info) {
			continue
		}
		m.place, taken[as] = place, true
		return
	}
}

// locateMade finds out whether a copy is there. A link whose place is empty is on its way, if what
// takes its place, or has left it, is there under the other name.
func (e *engine) locateMade(ctx context.Context, m *move) error {
	final := e.pathNow(m, m.to)
	info, err := e.root.Lstat(final)
	gone := errors.Is(err, fs.ErrNotExist)
	if err == nil && e.guardOfMade(m, final, info) {
		if err := removed(e.root.Remove(final)); err != nil {
			return err
		}
		gone = true
	}
	switch {
	case err != nil && !gone:
		return err
	case m.made.archive():
		switch {
		case gone:
			m.place = atOld
		case info.Mode().IsRegular() && info.Size() == m.made.Size:
			m.place = atNew
		}
	case gone:
		switch now, err := inventoryOf(ctx, e.fullPath(e.pathNow(m, m.temp)), false, nil); {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, fs.ErrNotExist):
		case m.at == linking, m.at == copying && err == nil && now == m.made.Of:
			m.place = atTemp
		}
	case info.Mode()&fs.ModeSymlink != 0:
		if target, err := e.root.Readlink(final); err == nil && target == string(m.made.Target) {
			m.place = atOld
		}
	default:
		now, err := inventoryOf(ctx, e.fullPath(final), false, nil)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil && now == m.made.Of {
			m.place = atNew
		}
	}
	return nil
}

// dropGuards removes the guards that a crash left in a folder.
func (e *engine) dropGuards(now string, moves []*move, list map[string]bool, forms map[string]string, taken map[string]bool) error {
	for _, m := range moves {
		for _, name := range []string{m.temp, m.to, m.from} {
			as := listedAs(name, list, forms)
			if as == "" || taken[as] {
				continue
			}
			path := names.Join(dot(now), name)
			info, err := e.root.Lstat(path)
			if err != nil || !e.isGuard(m, path, info) {
				continue
			}
			e.hook("drop")
			if err := removed(e.root.Remove(path)); err != nil {
				return fmt.Errorf("cannot remove %s: %w", names.Quote(path), explain(err))
			}
			delete(list, as)
		}
	}
	return nil
}
