package walk

import (
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

type folder struct{}

func newSystem(root string) system { return &bulk{portable: portable{root}, ask: getattrlistbulk} }

// getattrlistbulk asks for the next entries of an open folder, as many as fit.
func getattrlistbulk(f *os.File, buf []byte) (int, error) {
	request := bulkRequest()
	for {
		n, _, errno := syscall.Syscall6(unix.SYS_GETATTRLISTBULK, f.Fd(), uintptr(unsafe.Pointer(&request)),
			uintptr(unsafe.Pointer(unsafe.SliceData(buf))), uintptr(len(buf)), 0, 0)
		runtime.KeepAlive(f)
		switch errno {
		case 0:
			return int(n), nil
		case unix.EINTR:
		default:
			return 0, errno
		}
	}
}

// fillFlags takes over the flags of a file (stat(2), st_flags).
func fillFlags(e *Entry, st *syscall.Stat_t) { e.setFlags(st.Flags) }

// Look looks at the entry rel ("/" between parts, "" the root itself) below root without following
// a link. rel may be longer than the system takes in one piece.
func Look(root, rel string) (Entry, error) { return portableLook(root, rel) }

// Open opens the plain file rel below root to read it, like Dir.Open. rel may be longer than the
// system takes in one piece.
func Open(root, rel string) (*os.File, error) { return portableOpen(root, rel) }

// Readlink returns what the link rel below root points to, like Dir.Readlink. rel may be longer than
// the system takes in one piece.
func Readlink(root, rel string) (string, error) { return portableReadlink(root, rel) }

// Xattrs returns the names of the extended attributes of a path outside a walk; of a link those of
// the link itself.
func Xattrs(root, rel string) ([]string, error) {
	return xattrs(filepath.Join(root, filepath.FromSlash(rel)))
}
