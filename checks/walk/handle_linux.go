package walk

import (
	"io/fs"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// entryName returns the name of an entry as the system wants it, good until the next call; nil
// for what cannot be one, which might lead out of the folder.
func (l *linuxLister) entryName(name string) *byte {
	if name == "" || name == ".." || strings.IndexByte(name, 0) >= 0 || strings.IndexByte(name, '/') >= 0 {
		return nil
	}
	return l.cname(name)
}

func pathError(op, name string, errno syscall.Errno) error {
	return &fs.PathError{Op: op, Path: name, Err: errno}
}

func (l *linuxLister) readlink(name string) (string, error) {
	p := l.entryName(name)
	if p == nil {
		return "", pathError("readlink", name, unix.EINVAL)
	}
	for {
		// The listing is over, so its buffer is free; targets are shorter than PATH_MAX.
		n, _, errno := syscall.Syscall6(syscall.SYS_READLINKAT, uintptr(l.at.fd), uintptr(unsafe.Pointer(p)),
			uintptr(unsafe.Pointer(&l.buf[0])), uintptr(len(l.buf)), 0, 0)
		switch errno {
		case 0:
			return string(l.buf[:n]), nil
		case unix.EINTR:
		default:
			return "", pathError("readlink", name, errno)
		}
	}
}

func (l *linuxLister) head(name string, p []byte) (n int, err error) {
	entry := l.entryName(name)
	if entry == nil {
		return 0, pathError("open", name, unix.EINVAL)
	}
	fd, errno := openAt(l.at.fd, entry, readFlags|unix.O_NOATIME)
	if errno != 0 {
		return 0, pathError("open", name, errno)
	}
	defer unix.Close(fd)
	for n < len(p) {
		k, err := unix.Read(fd, p[n:])
		if err == unix.EINTR { //nolint:errorlint // x/sys returns it bare
			continue
		}
		if err != nil {
			return n, &fs.PathError{Op: "read", Path: name, Err: err}
		}
		if k == 0 {
			break
		}
		n += k
	}
	return n, nil
}

// lookIn looks at one entry of the open folder dir; "" is the folder itself.
func (l *linuxLister) lookIn(dir int, name string) (Entry, error) {
	flags := 0
	if name == "" {
		flags = unix.AT_EMPTY_PATH
	}
	e := Entry{Name: name}
	more, errno := l.stat(dir, l.cname(name), flags, &e)
	if errno != 0 {
		return Entry{Name: name, Blocks: -1, Links: 1, Failed: true}, pathError("look at", name, errno)
	}
	if e.Kind == Folder && name != "" {
		e.MountRoot = more.mountRoot
		if !more.tellsMounts {
			var self Entry
			if own, errno := l.stat(dir, l.cname(""), unix.AT_EMPTY_PATH, &self); errno == 0 {
				e.MountRoot = own.dev != more.dev
			}
		}
	}
	return e, nil
}

// listxattrat came with Linux 6.13; before, the only way from a descriptor to the attributes of a
// name in it, without opening that, leads through /proc.
var noListxattrat atomic.Bool

const sysListxattrat = 465 // the same on all of Go's architectures: asm-generic/unistd.h

// fewXattrs is how many bytes of names are asked for at first. The kernel takes memory for as many as it is offered
// (listxattr in fs/xattr.c), which for the most that there can be costs as much as the rest of the call.
const fewXattrs = 256

func (l *linuxLister) xattrs(name string) ([]string, error) {
	p := l.entryName(name)
	if p == nil {
		return nil, pathError("listxattr", name, unix.EINVAL)
	}
	for buf := l.buf[:fewXattrs]; ; {
		var n uintptr
		var errno syscall.Errno
		if noListxattrat.Load() {
			l.path = append(l.path[:0], "/proc/self/fd/"...)
			l.path = strconv.AppendInt(l.path, int64(l.at.fd), 10)
			l.path = append(append(append(l.path, '/'), name...), 0)
			n, _, errno = syscall.Syscall(syscall.SYS_LLISTXATTR, uintptr(unsafe.Pointer(&l.path[0])),
				uintptr(unsafe.Pointer(&buf[0])), uintptr(len(buf)))
		} else {
			n, _, errno = syscall.Syscall6(sysListxattrat, uintptr(l.at.fd), uintptr(unsafe.Pointer(p)),
				unix.AT_SYMLINK_NOFOLLOW, uintptr(unsafe.Pointer(&buf[0])), uintptr(len(buf)), 0)
		}
		switch {
		case errno == 0:
			return splitNames(buf[:n]), nil
		case errno == unix.ERANGE && len(buf) < len(l.buf):
			buf = l.buf
		case errno == unix.ENOTSUP:
			return nil, nil
		case errno == unix.EINTR:
		case !noListxattrat.Load() && (errno == unix.ENOSYS || errno == unix.EPERM):
			noListxattrat.Store(true)
		default:
			return nil, pathError("listxattr", name, errno)
		}
	}
}
