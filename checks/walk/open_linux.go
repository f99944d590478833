package walk

import (
	"bytes"
	"errors"
	"io/fs"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

const (
	listFlags = unix.O_RDONLY | unix.O_DIRECTORY | unix.O_NOFOLLOW | unix.O_CLOEXEC | unix.O_LARGEFILE
	readFlags = unix.O_RDONLY | unix.O_NOFOLLOW | unix.O_NONBLOCK | unix.O_CLOEXEC | unix.O_LARGEFILE
	stepFlags = unix.O_PATH | unix.O_DIRECTORY | unix.O_NOFOLLOW | unix.O_CLOEXEC

	// maxPath is PATH_MAX of limits.h, its NUL included.
	maxPath = 4096
)

// openNode opens a folder to list it: from its parent where that is still open, else from the
// nearest ancestor that is.
func (l *linuxLister) openNode(n *node) (int, error) {
	if n.up == nil {
		fd, errno := openAt(unix.AT_FDCWD, l.cname(l.sys.root), listFlags&^unix.O_NOFOLLOW|unix.O_NOATIME)
		return fd, orNil(errno)
	}
	flags := listFlags
	if l.sys.uid == 0 || l.sys.uid == n.uid {
		flags |= unix.O_NOATIME // others may not ask for it: open(2)
	}
	if at := n.up.at; at != nil {
		defer at.release()
		// The name is part of a string that has NUL behind it: see children.
		fd, errno := openAt(at.fd, unsafe.StringData(n.name), flags)
		return fd, orNil(errno)
	}
	from := n.up
	for from.at == nil || !from.at.acquire() {
		from = from.up // ends at the root, which stays open
	}
	defer from.at.release()
	l.path = append(n.appendPath(l.path[:0], from), 0)
	return openBelow(from.at.fd, l.path, flags)
}

// openBelow opens path, which ends with NUL, relative to dir, in as many steps as it is long. No
// part of it may be a link. path is overwritten.
func openBelow(dir int, path []byte, flags int) (int, error) {
	from := dir
	for {
		size, last := stepLength(path), false
		if size == len(path)-1 {
			last = true
		}
		path[size] = 0
		how := stepFlags
		if last {
			how = flags
		}
		fd, errno := openNoLinks(from, &path[0], how)
		if from != dir {
			_ = unix.Close(from)
		}
		if last || errno != 0 {
			return fd, orNil(errno)
		}
		from, path = fd, path[size+1:]
	}
}

// stepLength returns how much of a path that ends with NUL to open at a time.
func stepLength(path []byte) int {
	if !haveOpenat2() {
		// openat heeds O_NOFOLLOW at the last part only, so there is but one.
		if i := bytes.IndexByte(path, '/'); i >= 0 {
			return i
		}
		return len(path) - 1
	}
	if len(path) <= maxPath {
		return len(path) - 1
	}
	return bytes.LastIndexByte(path[:maxPath], '/')
}

var haveOpenat2 = sync.OnceValue(func() bool {
	fd, err := unix.Openat2(unix.AT_FDCWD, "/", &unix.OpenHow{Flags: stepFlags, Resolve: unix.RESOLVE_NO_SYMLINKS})
	if err != nil {
		return false
	}
	_ = unix.Close(fd)
	return true
})

func openNoLinks(dir int, path *byte, flags int) (int, syscall.Errno) {
	if !haveOpenat2() {
		return openAt(dir, path, flags)
	}
	how := unix.OpenHow{Flags: uint64(flags), Resolve: unix.RESOLVE_NO_SYMLINKS}
	for {
		fd, _, errno := syscall.Syscall6(unix.SYS_OPENAT2, uintptr(dir), uintptr(unsafe.Pointer(path)),
			uintptr(unsafe.Pointer(&how)), unsafe.Sizeof(how), 0, 0)
		switch {
		case errno == 0:
			return int(fd), 0
		case errno == unix.EPERM && how.Flags&unix.O_NOATIME != 0:
			how.Flags &^= unix.O_NOATIME
		case errno != unix.EINTR:
			return -1, errno
		}
	}
}

// openAt is openat(2). O_NOATIME is a wish: only the owner may ask for it.
func openAt(dir int, name *byte, flags int) (int, syscall.Errno) {
	for {
		fd, _, errno := syscall.Syscall6(syscall.SYS_OPENAT, uintptr(dir), uintptr(unsafe.Pointer(name)),
			uintptr(flags), 0, 0, 0)
		switch {
		case errno == 0:
			return int(fd), 0
		case errno == unix.EPERM && flags&unix.O_NOATIME != 0:
			flags &^= unix.O_NOATIME
		case errno != unix.EINTR:
			return -1, errno
		}
	}
}

func orNil(errno syscall.Errno) error {
	if errno == 0 {
		return nil
	}
	return errno
}

// cname returns name with NUL behind it, good until the next call.
func (l *linuxLister) cname(name string) *byte {
	l.path = append(append(l.path[:0], name...), 0)
	return &l.path[0]
}

// Look looks at the entry rel ("/" between parts, "" the root itself) below root without following
// a link. rel may be longer than the system takes in one piece.
func Look(root, rel string) (Entry, error) {
	l := &linuxLister{sys: &linux{}}
	dir, name, err := openParent(root, rel)
	if err != nil {
		return Entry{Name: name, Blocks: -1, Links: 1, Failed: true}, err
	}
	defer unix.Close(dir)
	e, err := l.lookIn(dir, name)
	if errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EPERM) {
		l.sys.oldStat.Store(true)
		e, err = l.lookIn(dir, name)
	}
	return e, err
}

// Readlink returns what the link rel below root points to, like Dir.Readlink. rel may be longer than
// the system takes in one piece.
func Readlink(root, rel string) (string, error) {
	dir, name, err := openParent(root, rel)
	if err != nil {
		return "", err
	}
	defer unix.Close(dir)
	buf := make([]byte, maxPath) // targets are shorter than PATH_MAX
	for {
		n, err := unix.Readlinkat(dir, name, buf)
		switch {
		case err == nil:
			return string(buf[:n]), nil
		case !errors.Is(err, unix.EINTR):
			return "", &fs.PathError{Op: "readlink", Path: rel, Err: err}
		}
	}
}

// Xattrs returns the names of the extended attributes of a path outside a walk, however long it is;
// of a link those of the link itself.
func Xattrs(root, rel string) ([]string, error) {
	dir, name, err := openParent(root, rel)
	if err != nil {
		return nil, err
	}
	defer unix.Close(dir)
	list, err := xattrs("/proc/self/fd/" + strconv.Itoa(dir) + "/" + name)
	var pe *fs.PathError
	if errors.As(err, &pe) {
		pe.Path = rel
	}
	return list, err
}

// openParent opens the folder that holds rel.
func openParent(root, rel string) (fd int, name string, err error) {
	dir, name := split(rel)
	if strings.IndexByte(root, 0) >= 0 || strings.IndexByte(rel, 0) >= 0 {
		return -1, name, &fs.PathError{Op: "open", Path: rel, Err: unix.EINVAL}
	}
	const flags = unix.O_PATH | unix.O_DIRECTORY | unix.O_CLOEXEC
	fd, errno := openAt(unix.AT_FDCWD, &[]byte(root + "\x00")[0], flags)
	if errno != 0 {
		return -1, name, &fs.PathError{Op: "open", Path: root, Err: errno}
	}
	if dir == "" {
		return fd, name, nil
	}
	defer unix.Close(fd)
	sub, err := openBelow(fd, []byte(dir+"\x00"), stepFlags)
	if err != nil {
		return -1, name, &fs.PathError{Op: "open", Path: rel, Err: err}
	}
	return sub, name, nil
}
