package walk

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// portable reads folders with nothing but package os. It is what a walk uses where there is no
// better way, and what the better ways are tested against.
type portable struct{ root string }

func newPortable(root string) system { return &portable{root} }

func (p *portable) lister() lister { return &portableLister{p: p} }
func (p *portable) drop(*node)     {}
func (p *portable) close()         {}

type portableLister struct {
	p  *portable
	at place
}

// A place is a folder that is being visited.
type place struct {
	path string
	root *os.Root // set where path is too long for the system; opened part by part
}

// room is what a path must leave free for a name to be appended.
const room = 260

// goTo returns the folder rel below root.
func goTo(root, rel string) (place, error) {
	full := root
	if rel != "" {
		full = filepath.Join(root, filepath.FromSlash(rel))
		if filepath.Separator == '/' {
			// Join cleans, which is not wanted of names; they need none.
			full = root + "/" + rel
		}
	}
	if len(full)+room < maxPath {
		return place{path: full}, nil
	}
	r, err := os.OpenRoot(root)
	if err != nil {
		return place{}, err
	}
	defer r.Close()
	sub, err := r.OpenRoot(rel)
	if err != nil {
		return place{}, err
	}
	return place{path: full, root: sub}, nil
}

func (p *place) close() {
	if p.root != nil {
		p.root.Close()
	}
	*p = place{}
}

func (p *place) join(name string) string { return p.path + string(filepath.Separator) + name }

// openSelf opens the folder for listing, its last part never through a link.
func (p *place) openSelf(isRoot bool) (*os.File, error) {
	switch {
	case p.root != nil:
		return p.root.Open(".")
	case isRoot:
		return os.Open(p.path)
	}
	return os.OpenFile(p.path, os.O_RDONLY|openNoFollow|openFolder, 0)
}

func (p *place) lstat(name string) (fs.FileInfo, error) {
	if p.root != nil {
		return p.root.Lstat(name)
	}
	return os.Lstat(p.join(name))
}

func (l *portableLister) done() { l.at.close() }

// batch is how many names are asked for at a time.
const batch = 1024

func (l *portableLister) list(n *node, w *worker) (subs []node) {
	d := &w.dir
	f, err := l.open(n, d)
	if err != nil {
		d.Err = err
		return nil
	}
	defer f.Close()

	var names []string
	var kinds []fs.FileMode
	for {
		var more []string
		var all []fs.DirEntry
		// Names alone where os would look them up by path, and the path is too long.
		if l.at.root != nil {
			more, err = f.Readdirnames(batch)
		} else {
			all, err = f.ReadDir(batch)
			for _, e := range all {
				more = append(more, e.Name())
				kinds = append(kinds, e.Type())
			}
		}
		names = append(names, more...)
		if err != nil || len(more) == 0 || w.stopped() {
			break
		}
	}
	if err != nil && !errors.Is(err, io.EOF) {
		d.Err = err
	}
	d.Entries = w.grow(len(names))
	var bytes, counted int64
	for i, name := range names {
		if i%countEvery == countEvery-1 {
			if w.stopped() {
				return subs
			}
			w.count(0, int64(i)-counted, bytes)
			counted, bytes = int64(i), 0
		}
		info, err := l.at.lstat(name)
		if err != nil {
			kind := File
			if kinds != nil {
				kind = KindOf(kinds[i])
			}
			d.fail(i, name, kind, err)
			continue
		}
		e := &d.Entries[i]
		*e = Entry{Name: name}
		dev := fill(e, info)
		switch e.Kind {
		case File:
			bytes += e.Size
		case Folder:
			e.MountRoot = dev != d.Device
			subs = append(subs, child(n, e, dev))
		}
	}
	w.count(0, int64(len(names))-counted, bytes)
	return subs
}

// open opens the folder d of the node n to list it.
func (l *portableLister) open(n *node, d *Dir) (*os.File, error) {
	at, err := goTo(l.p.root, d.Path)
	if err != nil {
		return nil, err
	}
	l.at = at
	f, err := l.at.openSelf(n.up == nil)
	if err != nil {
		return nil, err
	}
	self, err := f.Stat()
	if err == nil && !self.IsDir() {
		err = &fs.PathError{Op: "open", Path: l.at.path, Err: errNotFolder}
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	var here Entry
	d.Device, d.at = fill(&here, self), &l.at
	if n.up == nil {
		n.dev, n.ino = d.Device, here.Inode
	}
	return f, nil
}

// child returns the node of the folder e in n.
func child(n *node, e *Entry, dev uint64) node {
	length := len(e.Name)
	if n.length > 0 {
		length += n.length + 1
	}
	return node{up: n, name: e.Name, dev: dev, ino: e.Inode, length: length, depth: n.depth + 1, uid: e.UID}
}

// fill takes over what the system says of a file, and returns its device.
func fill(e *Entry, info fs.FileInfo) (dev uint64) {
	t := info.ModTime()
	e.Size, e.Sec, e.Nsec = info.Size(), t.Unix(), int32(t.Nanosecond())
	e.Blocks, e.Links = -1, 1
	m := info.Mode()
	e.Kind = KindOf(m)
	e.Perm = uint16(m.Perm())
	for _, b := range [...]struct {
		mode fs.FileMode
		perm uint16
	}{{fs.ModeSetuid, 0o4000}, {fs.ModeSetgid, 0o2000}, {fs.ModeSticky, 0o1000}} {
		if m&b.mode != 0 {
			e.Perm |= b.perm
		}
	}
	return fillSystem(e, info)
}

// KindOf returns what an entry is by its mode.
func KindOf(m fs.FileMode) Kind {
	switch m.Type() {
	case 0:
		return File
	case fs.ModeDir:
		return Folder
	case fs.ModeSymlink:
		return Link
	}
	return Other
}

var errNotFolder = errors.New("it is not a folder")

func (p *place) readlink(name string) (string, error) {
	if p.root != nil {
		return p.root.Readlink(name)
	}
	return os.Readlink(p.join(name))
}

func (p *place) open(name string) (*os.File, error) {
	flags := os.O_RDONLY | openNoFollow | openNoWait
	if p.root != nil {
		// Root would follow a link that stays inside.
		if i, err := p.root.Lstat(name); err == nil && i.Mode().Type() == fs.ModeSymlink {
			return nil, &fs.PathError{Op: "open", Path: p.join(name), Err: errIsLink}
		}
		return p.root.OpenFile(name, flags&^openNoFollow, 0)
	}
	return os.OpenFile(p.join(name), flags, 0)
}

var errIsLink = errors.New("it is a link")

func (p *place) head(name string, b []byte) (n int, err error) {
	f, err := p.open(name)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	n, err = io.ReadFull(f, b)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return n, err
}

func (p *place) look(name string) (Entry, error) {
	info, err := p.lstat(name)
	if err != nil {
		return Entry{Name: name, Blocks: -1, Links: 1, Failed: true}, err
	}
	e := Entry{Name: name}
	dev := fill(&e, info)
	if e.Kind == Folder {
		if self, err := os.Stat(p.path); err == nil {
			var s Entry
			e.MountRoot = dev != fill(&s, self)
		}
	}
	return e, nil
}

func (p *place) access(e *Entry) error {
	name, kind := e.Name, e.Kind
	if kind == Link {
		_, err := p.lstat(name)
		return err
	}
	if p.root == nil {
		return access(p.join(name), kind == Folder)
	}
	if kind == Folder {
		sub, err := p.root.OpenRoot(name)
		if err != nil {
			return err
		}
		return sub.Close()
	}
	f, err := p.root.OpenFile(name, os.O_RDONLY|openNoWait, 0)
	if err != nil {
		return err
	}
	return f.Close()
}

func (p *place) xattrs(name string) ([]string, error) {
	if p.root != nil {
		return nil, nil
	}
	return xattrs(p.join(name))
}

// portableLook is Look of systems without a better way.
func portableLook(root, rel string) (Entry, error) {
	dir, name := split(rel)
	if name == "" {
		info, err := os.Stat(root)
		if err != nil {
			return Entry{Failed: true}, err
		}
		e := Entry{}
		fill(&e, info)
		return e, nil
	}
	p, err := goTo(root, dir)
	if err != nil {
		return Entry{Name: name, Failed: true}, err
	}
	defer p.close()
	return p.look(name)
}

// portableReadlink is Readlink of systems without a better way.
func portableReadlink(root, rel string) (string, error) {
	dir, name := split(rel)
	p, err := goTo(root, dir)
	if err != nil {
		return "", err
	}
	defer p.close()
	return p.readlink(name)
}

// split cuts the last part off a relative path.
func split(rel string) (dir, name string) {
	for i := len(rel) - 1; i >= 0; i-- {
		if rel[i] == '/' {
			return rel[:i], rel[i+1:]
		}
	}
	return "", rel
}
