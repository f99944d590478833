//go:build linux || darwin

package walk

import (
	"errors"
	"io/fs"

	"golang.org/x/sys/unix"
)

// xattrListMax is the most that names of attributes take up (XATTR_LIST_MAX of Linux's limits.h).
const xattrListMax = 1 << 16

// XattrSize returns how long the value of an attribute is, bytes; 0 where that is not known. Its path is given to
// the system in one piece.
func XattrSize(path, name string) int64 {
	for {
		n, err := unix.Lgetxattr(path, name, nil)
		if !errors.Is(err, unix.EINTR) {
			return int64(max(n, 0))
		}
	}
}

func xattrs(path string) ([]string, error) {
	buf := make([]byte, 1024)
	for {
		n, err := unix.Llistxattr(path, buf)
		switch {
		case err == nil:
			return withACL(path, splitNames(buf[:n])), nil
		case errors.Is(err, unix.ENOTSUP):
			return withACL(path, nil), nil
		case errors.Is(err, unix.EINTR):
		case errors.Is(err, unix.ERANGE) && len(buf) < xattrListMax:
			buf = make([]byte, xattrListMax)
		default:
			return nil, &fs.PathError{Op: "listxattr", Path: path, Err: err}
		}
	}
}

// splitNames splits a list of names that each end with NUL.
func splitNames(list []byte) (names []string) {
	for len(list) > 0 {
		i := 0
		for i < len(list) && list[i] != 0 {
			i++
		}
		names = append(names, string(list[:i]))
		list = list[min(i+1, len(list)):]
	}
	return names
}
