package share

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"loadline/checks/internal/disk"
)

// A place is a folder that is held open, so that whoever renames it or puts a link in its way
// cannot lead us elsewhere: every name is one part, looked up in the folder that is held, and no
// link is followed. It remembers what it made.
type place struct {
	path string // for people
	root *os.Root
	dir  *os.File // the same folder, for calls that os.Root does not have
	made map[string]fs.FileInfo

	// direct makes files whose writes go past this computer's cache. On NFS a flush that waits for
	// pages of the cache cannot be ended, not even by SIGKILL, while the server is gone; what is
	// written with O_DIRECT is waited for in a way that a signal ends (measured: fsync(2) hangs in
	// folio_wait_writeback, uninterruptible; nfs_direct_wait is killable).
	direct bool
}

// errForeign: a name of ours leads to something that we did not make.
var errForeign = errors.New("something else was put in its place")

// openPlace opens the folder at a path of the person's choice, whose links count.
func openPlace(path string) (*place, error) {
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, err
	}
	return newPlace(path, root)
}

func newPlace(path string, root *os.Root) (*place, error) {
	dir, err := root.Open(".")
	if err != nil {
		root.Close()
		return nil, err
	}
	return &place{path: path, root: root, dir: dir, made: map[string]fs.FileInfo{}}, nil
}

func (p *place) close() {
	p.dir.Close()
	p.root.Close()
}

// enter opens a folder in the place, never through a link.
func (p *place) enter(name string) (*place, error) {
	root, err := p.root.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	in, err := newPlace(p.path+string(os.PathSeparator)+name, root)
	if err != nil {
		return nil, err
	}
	// OpenRoot follows a link that stays within p. What was opened must be the entry itself.
	if err := p.is(name, in); err != nil {
		in.close()
		return nil, err
	}
	in.direct = p.direct
	return in, nil
}

// is says by an error whether the entry name of p is not the folder that in holds.
func (p *place) is(name string, in *place) error {
	entry, err := p.root.Lstat(name)
	if err != nil {
		return err
	}
	held, err := in.dir.Stat()
	if err != nil {
		return err
	}
	if !entry.IsDir() || !os.SameFile(entry, held) {
		return &fs.PathError{Op: "open", Path: name, Err: errForeign}
	}
	return nil
}

// makeFolder makes a folder that was not there and opens it. The folder is empty: one that somebody
// put in its place meanwhile would not be ours to write into.
func (p *place) makeFolder(name string) (*place, error) {
	if err := p.root.Mkdir(name, 0o700); err != nil {
		return nil, err
	}
	in, err := p.enter(name)
	if err == nil {
		var names []string
		if names, err = in.list(); err == nil && len(names) > 0 {
			err = &fs.PathError{Op: "mkdir", Path: name, Err: errForeign}
		}
		if err == nil {
			return in, nil
		}
		in.close()
	}
	// The folder was made: if it is still the empty one, take it away again.
	return nil, errors.Join(err, p.removeEmpty(name))
}

// create makes a file that was not there.
func (p *place) create(name string) (*os.File, error) {
	flags := os.O_RDWR | os.O_CREATE | os.O_EXCL | noFollow
	if p.direct {
		flags |= directIO
	}
	f, err := p.root.OpenFile(name, flags, 0o600)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	p.made[name] = info
	return f, nil
}

// reopen opens a file that this place made, for reading. Extra are further flags of open(2).
func (p *place) reopen(name string, extra int) (*os.File, error) {
	f, err := p.openNoFollow(name, os.O_RDONLY|extra)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !p.own(name, info) {
		err = &fs.PathError{Op: "open", Path: name, Err: errForeign}
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// openPast opens a file that this place made so that reading it asks the server or the disk, not this
// machine's cache, as far as the system can be made to.
func (p *place) openPast(name string) (*disk.Reader, error) {
	return disk.OpenPastWith(func(flags int) (*os.File, error) { return p.reopen(name, flags) })
}

// own says whether info is that of the file that was made under this name.
func (p *place) own(name string, info fs.FileInfo) bool {
	made, ok := p.made[name]
	return ok && info.Mode().IsRegular() && os.SameFile(made, info)
}

// remove removes a file that this place made. One that is gone already is no error.
func (p *place) remove(name string) error {
	info, err := p.root.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) {
		delete(p.made, name)
		return nil
	}
	if err != nil {
		return err
	}
	if !p.own(name, info) {
		return &fs.PathError{Op: "remove", Path: name, Err: errForeign}
	}
	if err := p.unlink(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	delete(p.made, name)
	return nil
}

// rename gives a file that this place made a new name that is not taken.
func (p *place) rename(from, to string) error {
	if _, err := p.root.Lstat(to); err == nil {
		return &fs.PathError{Op: "rename", Path: to, Err: fs.ErrExist}
	}
	if err := p.root.Rename(from, to); err != nil {
		return err
	}
	info, err := p.root.Lstat(to)
	if err != nil {
		return err
	}
	p.made[to] = p.made[from]
	delete(p.made, from)
	if !p.own(to, info) {
		delete(p.made, to)
		return &fs.PathError{Op: "rename", Path: to, Err: errForeign}
	}
	return nil
}

// list returns the names in the place.
func (p *place) list() ([]string, error) {
	d, err := p.root.Open(".")
	if err != nil {
		return nil, err
	}
	defer d.Close()
	return d.Readdirnames(-1)
}

// writeAll writes a small file that was not there and flushes it.
func (p *place) writeAll(name, text string) error {
	f, err := p.create(name)
	if err != nil {
		return err
	}
	_, err = io.WriteString(f, text)
	if err == nil {
		err = disk.Flush(f)
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("writing %q: %w", name, err)
	}
	return nil
}
