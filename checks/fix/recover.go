package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"

	"loadline/checks/internal/disk"
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

// A disk that spells names in a form of its own lists another name than it was given: HFS+ stores
// letters with marks as a letter and its marks (Apple Technical Note TN1150, from memory), and Linux
// puts them together again by a table that differs from Unicode's (measured, Linux 6.1). There a
// rename to Normalization Form C changes nothing; and where Linux does store a name as it is given,
// because its table lacks a letter or the disk is mounted with nodecompose, the system that wrote the
// disk looks for it in vain.
const (
	whyRespelled = "the name is not in Unicode Normalization Form C, but this disk (HFS+) stores accented letters in a form of its own, " +
		"whatever name a file is given, so a rename changes nothing"
	fixRespelled = "Copy it as it is, or give it a name without accented letters: a plan for portable names does."
)

// respells reports whether the disk of a folder spells names in a form of its own.
func respells(root *os.Root) bool {
	dir, err := root.Open(".")
	if err != nil {
		return false
	}
	defer dir.Close()
	return disk.RespellsNames(dir)
}

// spellings finds the names of a folder by their Normalization Form C, as far as they have another.
func spellings(list map[string]bool) map[string]string {
	forms := map[string]string{}
	for name := range list {
		if names.Look(name).Any(names.NotASCII) {
			forms[names.NFC(name)] = name
		}
	}
	return forms
}

// listedAs returns the name in the list of a folder by which a file is listed that was given a name,
// "" if none: the name itself, else what a disk with a form of its own may have made of it. Whether
// it did, only looking for the name tells: elsewhere the two are strangers.
func listedAs(name string, list map[string]bool, forms map[string]string) string {
	if list[name] {
		return name
	}
	if as := forms[names.NFC(name)]; list[as] {
		return as
	}
	return ""
}
