package walk

import (
	"os"
	"runtime"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

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
