package walk

import (
	"bytes"
	"io/fs"
	"os"
	"runtime"
	"strings"
	"sync/atomic"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// linux reads folders with openat, getdents64 and statx, all relative to descriptors: the kernel
// looks up one name at a time, however long the path is, and nobody can turn a folder above into
// a link meanwhile.
type linux struct {
	root    string
	uid     uint32
	oldStat atomic.Bool  // statx is not there, or not allowed in this container
	held    atomic.Int32 // folders held open for their subfolders
	mayHold int32
	top     *folder // the root, held open until the end
}

// A folder is an open descriptor and how many need it: the visitor, and the subfolders that have
// not been opened yet.
type folder struct {
	fd   int
	refs atomic.Int32
	held *atomic.Int32
}

// acquire takes part in a folder that may be closed meanwhile.
func (f *folder) acquire() bool {
	for {
		n := f.refs.Load()
		if n == 0 {
			return false
		}
		if f.refs.CompareAndSwap(n, n+1) {
			return true
		}
	}
}

func (f *folder) release() {
	if f.refs.Add(-1) == 0 {
		_ = unix.Close(f.fd)
		if f.held != nil {
			f.held.Add(-1)
		}
	}
}

func newSystem(root string) system {
	s := &linux{root: root, uid: uint32(os.Geteuid()), mayHold: 200}
	// The rest of the program wants descriptors too.
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &limit); err == nil && limit.Cur/4 < uint64(s.mayHold) {
		s.mayHold = int32(limit.Cur / 4)
	}
	return s
}

func (s *linux) lister() lister { return &linuxLister{sys: s, buf: make([]byte, bufferSize)} }

func (s *linux) drop(n *node) {
	if n.up != nil && n.up.at != nil {
		n.up.at.release()
	}
}

func (s *linux) close() {
	if s.top != nil {
		s.top.release()
	}
}

// bufferSize is how many bytes of names are asked for at a time. Most folders fit; more does not
// make huge folders any faster.
const bufferSize = 64 << 10

// linuxLister is what one worker reads with, and the handle of the folder it visits.
type linuxLister struct {
	sys    *linux
	at     *folder
	buf    []byte
	path   []byte   // scratch
	chunks []string // names of the folder that is being read, see compact
	odd    []oddOne
	stx    unix.Statx_t

	rulesOf                uint64 // device of the last folder
	rulesKnown, rulesPlain bool   // see plainRules
}

// An oddOne is a subfolder whose device is not its parent's or not known yet.
type oddOne struct {
	index int
	dev   uint64
	trap  bool
}

func (l *linuxLister) done() {
	if l.at != nil {
		l.at.release()
		l.at = nil
	}
}

func (l *linuxLister) list(n *node, w *worker) []node {
	d := &w.dir
	fd, err := l.openNode(n)
	if err != nil {
		d.Err = &fs.PathError{Op: "open", Path: l.name(n, d), Err: err}
		return nil
	}
	l.at = &folder{fd: fd}
	l.at.refs.Store(1)
	l.rulesKnown = l.rulesKnown && l.rulesOf == n.dev && !n.trap && n.up != nil
	if n.up == nil || n.trap {
		if err := l.self(n); err != nil {
			d.Err = &fs.PathError{Op: "open", Path: l.name(n, d), Err: err}
			return nil
		}
	}
	d.Device, d.at, l.rulesOf = n.dev, l, n.dev
	total, err := l.read(w)
	if err != nil {
		d.Err = &fs.PathError{Op: "list", Path: l.name(n, d), Err: err}
	}
	d.Entries = w.grow(total)
	subs, length := l.lookAtAll(w)
	if subs == 0 || w.stopped() {
		return nil
	}
	return l.children(n, d, subs, length)
}

// name is what errors call a folder.
func (l *linuxLister) name(n *node, d *Dir) string {
	if n.up == nil {
		return l.sys.root
	}
	return d.Path
}

// self looks at the open folder itself.
func (l *linuxLister) self(n *node) error {
	var e Entry
	var none [1]byte
	more, errno := l.stat(l.at.fd, &none[0], unix.AT_EMPTY_PATH, &e)
	if errno == unix.ENOSYS || errno == unix.EPERM {
		l.sys.oldStat.Store(true)
		more, errno = l.stat(l.at.fd, &none[0], unix.AT_EMPTY_PATH, &e)
	}
	if errno != 0 {
		return errno
	}
	n.dev, n.ino = more.dev, e.Inode
	if n.up == nil {
		l.at.refs.Add(1)
		n.at, l.sys.top = l.at, l.at
	}
	return nil
}

// read lists the folder into l.chunks and returns how many names there are. An error halfway
// leaves those that came before.
func (l *linuxLister) read(w *worker) (total int, err error) {
	clear(l.chunks)
	l.chunks = l.chunks[:0]
	for !w.stopped() {
		n, _, errno := syscall.Syscall(syscall.SYS_GETDENTS64, uintptr(l.at.fd),
			uintptr(unsafe.Pointer(&l.buf[0])), uintptr(len(l.buf)))
		switch {
		case errno == unix.EINTR:
			continue
		case errno != 0:
			return total, errno
		case n == 0:
			return total, nil
		}
		names, size := compact(l.buf[:n])
		total += names
		if names > 0 {
			l.chunks = append(l.chunks, string(l.buf[:size]))
		}
	}
	return total, nil
}

// compact turns what getdents64 has returned into one run of entries, each its type (d_type), its
// name and NUL. It works in place: entries never grow.
//
// The run becomes one string, of which all names are parts: one allocation for a thousand names,
// and the kernel can be given a pointer to any of them.
func compact(buf []byte) (names, size int) {
	const header = 19 // d_ino 8, d_off 8, d_reclen 2, d_type 1
	at := 0
	for at+header < len(buf) {
		length := int(*(*uint16)(unsafe.Pointer(&buf[at+16])))
		if length < header+5 || at+length > len(buf) {
			break // never: records are multiples of eight
		}
		kind := buf[at+18]
		name := buf[at+header : at+length]
		at += length
		if name[0] == '.' && (name[1] == 0 || name[1] == '.' && name[2] == 0) {
			continue
		}
		end := max(bytes.IndexByte(name, 0), 0)
		buf[size] = kind
		size += 1 + copy(buf[size+1:], name[:end])
		buf[size] = 0
		size++
		names++
	}
	return names, size
}

// lookAtAll fills in the entries of all names in l.chunks. It returns how many folders there are,
// and how many bytes their names take with a NUL each.
func (l *linuxLister) lookAtAll(w *worker) (subs, length int) {
	d := &w.dir
	l.odd = l.odd[:0]
	i, counted, bytes := 0, 0, int64(0)
	for _, chunk := range l.chunks {
		for len(chunk) > 0 {
			end := strings.IndexByte(chunk[1:], 0) + 1
			kind, name := chunk[0], chunk[1:end]
			chunk = chunk[end+1:]
			e := &d.Entries[i]
			e.Name = name
			more, errno := l.stat(l.at.fd, unsafe.StringData(name), 0, e)
			switch {
			case errno != 0:
				d.fail(i, name, kindOfType(kind), errno)
			case e.Kind == File:
				bytes += e.Size
			case e.Kind == Folder:
				subs++
				length += len(name) + 1
				e.MountRoot = more.mountRoot || !more.tellsMounts && more.dev != d.Device
				if more.dev != d.Device || more.trap {
					l.odd = append(l.odd, oddOne{i, more.dev, more.trap})
				}
			}
			i++
			if i%countEvery == 0 {
				if w.stopped() {
					return 0, 0
				}
				w.count(0, int64(i-counted), bytes)
				counted, bytes = i, 0
				runtime.Gosched() // see letGo
			}
		}
	}
	w.count(0, int64(i-counted), bytes)
	return subs, length
}

// children returns the nodes of the subfolders, and keeps their parent open for them.
func (l *linuxLister) children(n *node, d *Dir, count, length int) []node {
	var names strings.Builder
	names.Grow(length)
	subs := make([]node, 0, count)
	odd := l.odd
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Kind != Folder || e.Failed {
			continue
		}
		// A copy, as what the entry's name is part of may hold thousands of names more.
		start := names.Len()
		names.WriteString(e.Name)
		names.WriteByte(0)
		c := child(n, e, d.Device)
		c.name = names.String()[start : start+len(e.Name)]
		if len(odd) > 0 && odd[0].index == i {
			c.dev, c.trap = odd[0].dev, odd[0].trap
			odd = odd[1:]
		}
		subs = append(subs, c)
	}
	held := &l.sys.held
	switch {
	case n.at != nil: // the root
		l.at.refs.Add(int32(count))
	case held.Add(1) <= l.sys.mayHold:
		l.at.held = held
		l.at.refs.Add(int32(count))
		n.at = l.at
	default:
		held.Add(-1)
	}
	return subs
}

// kindOfType tells the kind by d_type, which may be unknown; then a plain file is likeliest.
func kindOfType(t byte) Kind {
	switch t {
	case unix.DT_DIR:
		return Folder
	case unix.DT_LNK:
		return Link
	case unix.DT_REG, unix.DT_UNKNOWN:
		return File
	}
	return Other
}
