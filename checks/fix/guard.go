package fix

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

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
