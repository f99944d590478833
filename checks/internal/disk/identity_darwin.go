package disk

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

func fillState(s *State, info fs.FileInfo) {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		s.Device, s.Number, s.Changed, s.Known = uint64(uint32(st.Dev)), st.Ino, st.Ctimespec.Nano(), st.Ino != 0
	}
}

// DiskID returns what the volume under a path is known by on every mount and every port: its UUID
// (getattrlist(2), ATTR_VOL_UUID). It is "" where the volume has none, and on a share.
func DiskID(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	request := volumeUUIDRequest()
	var answer [32]byte
	err = retried(func() error {
		_, _, errno := syscall.Syscall6(syscall.SYS_FGETATTRLIST, f.Fd(), uintptr(unsafe.Pointer(&request)), uintptr(unsafe.Pointer(&answer)), unsafe.Sizeof(answer), 0, 0)
		if errno != 0 {
			return errno
		}
		return nil
	})
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) {
		return "", nil
	}
	if err != nil {
		return "", &os.PathError{Op: "getattrlist", Path: path, Err: err}
	}
	if zero(answer[4:20]) {
		return "", nil
	}
	id, err := volumeUUID(answer[:])
	if err != nil {
		return "", &os.PathError{Op: "getattrlist", Path: path, Err: err}
	}
	return "uuid:" + id, nil
}

// offset tells where on its disk a file begins, bytes, so that many can be read in the order of the
// disk; false where that is not known (fcntl(2), F_LOG2PHYS_EXT).
func offset(f *os.File) (at int64, ok bool) {
	b := log2physRequest(0, Align)
	_, _, errno := syscall.Syscall(syscall.SYS_FCNTL, f.Fd(), unix.F_LOG2PHYS_EXT, uintptr(unsafe.Pointer(&b)))
	if errno != 0 {
		return 0, false
	}
	return log2physAnswer(b)
}

// AccessTime is when a file was last read, as the system said it of the file; now where it did not.
func AccessTime(info fs.FileInfo) time.Time {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return time.Unix(st.Atimespec.Unix())
	}
	return time.Now()
}
