//go:build linux

package share

import (
	"encoding/binary"
	"errors"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// A liar is a file system in memory, served over /dev/fuse, that lies as told: the kernel calls it
// like any other (linux/fuse.h, protocol 7.31), so that real system calls meet the lie.
type liar struct {
	// fail is asked before every request; what it returns is the answer unless it is 0. It may block.
	fail func(op uint32, name string) unix.Errno
	// keep is the name under which a name is kept; key is what two names that are one have in common.
	keep, key func(string) string
	read      func(data []byte) // changes what is read
	clock     time.Duration     // how far its clock is ahead

	fd    int
	mu    sync.Mutex
	nodes map[uint64]*fuseNode
	last  uint64
}

type fuseNode struct {
	id       uint64
	name     string
	dir      bool
	data     []byte
	children []*fuseNode
	mode     uint32
	uid, gid uint32
	mtime    time.Time
}

// Requests (linux/fuse.h, enum fuse_opcode).
const (
	opLookup, opForget, opGetattr, opSetattr     = 1, 2, 3, 4
	opMkdir, opUnlink, opRmdir, opRename, opOpen = 9, 10, 11, 12, 14
	opRead, opWrite, opStatfs, opRelease         = 15, 16, 17, 18
	opFsync, opFlush, opInit, opOpendir          = 20, 25, 26, 27
	opReaddir, opReleasedir, opCreate            = 28, 29, 35
	opInterrupt, opBatchForget, opRename2        = 36, 42, 45
)

// mountLiar mounts it and returns where.
func mountLiar(t testing.TB, l *liar) string {
	t.Helper()
	if os.Getuid() != 0 {
		t.Fatal("file systems that lie are mounted with /dev/fuse, which needs root")
	}
	if _, err := os.Stat("/dev/fuse"); err != nil { // containers may lack it (devices.txt: 10, 229)
		if err := unix.Mknod("/dev/fuse", unix.S_IFCHR|0o600, int(unix.Mkdev(10, 229))); err != nil {
			t.Fatalf("no /dev/fuse: %v", err)
		}
	}
	fd, err := unix.Open("/dev/fuse", unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatalf("/dev/fuse: %v", err)
	}
	same := func(s string) string { return s }
	if l.keep == nil {
		l.keep = same
	}
	if l.key == nil {
		l.key = same
	}
	l.fd, l.last = fd, 1
	l.nodes = map[uint64]*fuseNode{1: {id: 1, dir: true, mode: 0o777, mtime: time.Now()}}
	dir := t.TempDir()
	opts := "fd=" + strconv.Itoa(fd) + ",rootmode=40777,user_id=0,group_id=0,allow_other"
	if err := unix.Mount("liar", dir, "fuse", unix.MS_NOSUID|unix.MS_NODEV, opts); err != nil {
		unix.Close(fd)
		t.Fatalf("mounting a FUSE file system: %v", err)
	}
	done := make(chan struct{})
	go func() { l.serve(); close(done) }()
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_FORCE|unix.MNT_DETACH); err != nil {
			t.Error(err)
		}
		<-done
		unix.Close(fd)
	})
	return dir
}

func (l *liar) serve() {
	buf := make([]byte, 1<<20+8192)
	for {
		n, err := unix.Read(l.fd, buf)
		switch {
		case errors.Is(err, unix.EINTR), errors.Is(err, unix.ENOENT), errors.Is(err, unix.EAGAIN):
			continue
		case err != nil: // ENODEV: unmounted
			return
		}
		go l.answer(slices.Clone(buf[:n]))
	}
}

var le = binary.LittleEndian

func (l *liar) answer(req []byte) {
	op, unique, node := le.Uint32(req[4:]), le.Uint64(req[8:]), le.Uint64(req[16:])
	body := req[40:]
	if op == opForget || op == opBatchForget || op == opInterrupt {
		return
	}
	name := ""
	switch skip := map[uint32]int{opLookup: 0, opUnlink: 0, opRmdir: 0, opMkdir: 8, opCreate: 16, opRename: 8, opRename2: 16}; op {
	case opLookup, opUnlink, opRmdir, opMkdir, opCreate, opRename, opRename2:
		name = text(body[skip[op]:])
	default:
		l.mu.Lock()
		if n := l.nodes[node]; n != nil {
			name = n.name
		}
		l.mu.Unlock()
	}
	var errno unix.Errno
	if l.fail != nil && op != opInit {
		errno = l.fail(op, name)
	}
	var out []byte
	if errno == 0 {
		l.mu.Lock()
		out, errno = l.do(op, node, name, body)
		l.mu.Unlock()
	}
	if errno != 0 {
		out = nil
	}
	reply := make([]byte, 16, 16+len(out))
	le.PutUint32(reply, uint32(16+len(out)))
	le.PutUint32(reply[4:], uint32(-int32(errno)))
	le.PutUint64(reply[8:], unique)
	_, _ = unix.Write(l.fd, append(reply, out...)) // ENOENT: nobody waits any more
}

func text(b []byte) string {
	if i := slices.Index(b, 0); i >= 0 {
		b = b[:i]
	}
	return string(b)
}

func (l *liar) child(dir *fuseNode, name string) int {
	return slices.IndexFunc(dir.children, func(c *fuseNode) bool { return l.key(c.name) == l.key(l.keep(name)) })
}

func (l *liar) add(dir *fuseNode, name string, isDir bool) *fuseNode {
	l.last++
	n := &fuseNode{id: l.last, name: l.keep(name), dir: isDir, mode: 0o700, mtime: time.Now().Add(l.clock)}
	l.nodes[n.id] = n
	dir.children = append(dir.children, n)
	return n
}

func (l *liar) do(op uint32, id uint64, name string, body []byte) ([]byte, unix.Errno) {
	n := l.nodes[id]
	if n == nil && op != opInit {
		return nil, unix.ESTALE
	}
	switch op {
	case opInit:
		out := make([]byte, 64)
		le.PutUint32(out, 7)
		le.PutUint32(out[4:], 31)
		le.PutUint32(out[12:], 1<<5) // FUSE_BIG_WRITES
		le.PutUint32(out[20:], 1<<17)
		return out, 0
	case opLookup:
		if i := l.child(n, name); i >= 0 {
			return n.children[i].entry(), 0
		}
		return nil, unix.ENOENT
	case opGetattr:
		return append(make([]byte, 16), n.attr()...), 0
	case opSetattr:
		valid := le.Uint32(body)
		if valid&2 != 0 {
			n.uid = le.Uint32(body[76:])
		}
		if valid&4 != 0 {
			n.gid = le.Uint32(body[80:])
		}
		if valid&32 != 0 {
			n.mtime = time.Unix(int64(le.Uint64(body[40:])), int64(le.Uint32(body[60:])))
		}
		return append(make([]byte, 16), n.attr()...), 0
	case opMkdir, opCreate:
		if l.child(n, name) >= 0 {
			return nil, unix.EEXIST
		}
		c := l.add(n, name, op == opMkdir)
		if op == opMkdir {
			return c.entry(), 0
		}
		return append(c.entry(), make([]byte, 16)...), 0
	case opUnlink, opRmdir:
		i := l.child(n, name)
		if i < 0 {
			return nil, unix.ENOENT
		}
		if len(n.children[i].children) > 0 {
			return nil, unix.ENOTEMPTY
		}
		n.children = slices.Delete(n.children, i, i+1)
		return nil, 0
	case opRename, opRename2:
		rest := body[map[uint32]int{opRename: 8, opRename2: 16}[op]:]
		to := l.nodes[le.Uint64(body)]
		i := l.child(n, name)
		if i < 0 || to == nil {
			return nil, unix.ENOENT
		}
		c := n.children[i]
		n.children = slices.Delete(n.children, i, i+1)
		c.name = l.keep(text(rest[len(name)+1:]))
		to.children = append(to.children, c)
		return nil, 0
	case opOpen, opOpendir:
		return make([]byte, 16), 0
	case opRead:
		at, size := int(le.Uint64(body[8:])), int(le.Uint32(body[16:]))
		at = min(at, len(n.data))
		data := slices.Clone(n.data[at:min(at+size, len(n.data))])
		if l.read != nil {
			l.read(data)
		}
		return data, 0
	case opWrite:
		at, data := int(le.Uint64(body[8:])), body[40:]
		if end := at + len(data); end > len(n.data) {
			n.data = append(n.data, make([]byte, end-len(n.data))...)
		}
		copy(n.data[at:], data)
		n.mtime = time.Now().Add(l.clock)
		out := make([]byte, 8)
		le.PutUint32(out, uint32(len(data)))
		return out, 0
	case opReaddir:
		var out []byte
		size := int(le.Uint32(body[16:]))
		for i := int(le.Uint64(body[8:])); i < len(n.children); i++ {
			c := n.children[i]
			e := make([]byte, 24, 24+len(c.name)+8)
			le.PutUint64(e, c.id)
			le.PutUint64(e[8:], uint64(i+1))
			le.PutUint32(e[16:], uint32(len(c.name)))
			e = append(e, c.name...)
			for len(e)%8 != 0 {
				e = append(e, 0)
			}
			if len(out)+len(e) > size {
				break
			}
			out = append(out, e...)
		}
		return out, 0
	case opStatfs:
		out := make([]byte, 80)
		for i := range 3 {
			le.PutUint64(out[8*i:], 1<<20) // blocks, free, available
		}
		le.PutUint32(out[40:], 4096)
		le.PutUint32(out[44:], 255)
		le.PutUint32(out[48:], 4096)
		return out, 0
	case opRelease, opReleasedir, opFlush, opFsync:
		return nil, 0
	}
	return nil, unix.ENOSYS
}

func (n *fuseNode) attr() []byte {
	b := make([]byte, 88)
	le.PutUint64(b, n.id)
	le.PutUint64(b[8:], uint64(len(n.data)))
	le.PutUint64(b[16:], uint64(len(n.data)+4095)/4096*8)
	le.PutUint64(b[32:], uint64(n.mtime.Unix()))
	le.PutUint32(b[52:], uint32(n.mtime.Nanosecond()))
	mode := n.mode | unix.S_IFREG
	if n.dir {
		mode = n.mode | unix.S_IFDIR
	}
	le.PutUint32(b[60:], mode)
	le.PutUint32(b[64:], 1)
	le.PutUint32(b[68:], n.uid)
	le.PutUint32(b[72:], n.gid)
	le.PutUint32(b[80:], 4096)
	return b
}

// entry is what a name leads to; nothing is kept by the kernel, so that every call asks.
func (n *fuseNode) entry() []byte {
	b := make([]byte, 40, 128)
	le.PutUint64(b, n.id)
	return append(b, n.attr()...)
}
