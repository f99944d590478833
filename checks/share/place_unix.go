//go:build unix

package share

import (
	"io/fs"
	"math"
	"math/bits"
	"os"

	"golang.org/x/sys/unix"
)

// noFollow: a link is an error; a FIFO or device that was put in a file's place does not block.
const noFollow = unix.O_NOFOLLOW | unix.O_NONBLOCK

// openNoFollow opens an entry of the place itself; a link fails with ELOOP (openat(2)).
func (p *place) openNoFollow(name string, flag int) (*os.File, error) {
	for {
		fd, err := unix.Openat(int(p.dir.Fd()), name, flag|noFollow|unix.O_CLOEXEC, 0)
		if err == unix.EINTR {
			continue
		}
		if err != nil {
			return nil, &fs.PathError{Op: "openat", Path: name, Err: err}
		}
		return os.NewFile(uintptr(fd), name), nil
	}
}

// unlink removes an entry that is no folder.
func (p *place) unlink(name string) error { return p.unlinkat(name, 0) }

// removeEmpty removes a folder; it fails on anything else and on one that holds something, so that
// what was put in its place meanwhile is safe.
func (p *place) removeEmpty(name string) error { return p.unlinkat(name, unix.AT_REMOVEDIR) }

func (p *place) unlinkat(name string, flags int) error {
	for {
		err := unix.Unlinkat(int(p.dir.Fd()), name, flags)
		if err == unix.EINTR {
			continue
		}
		if err != nil {
			return &fs.PathError{Op: "unlinkat", Path: name, Err: err}
		}
		return nil
	}
}

// alive says whether a process of this computer still runs.
func alive(pid int) bool {
	err := unix.Kill(pid, 0)
	return err == nil || err == unix.EPERM
}

// giveAway gives a file to another owner and says whether the share kept that; tried is false
// where this user may not do so anywhere.
func giveAway(f *os.File) (tried, kept bool, err error) {
	if os.Geteuid() != 0 {
		return false, false, nil
	}
	const other = 1 // any owner but root
	if err := f.Chown(other, other); err != nil {
		return true, false, err
	}
	var st unix.Stat_t
	if err := unix.Fstat(int(f.Fd()), &st); err != nil {
		return true, false, err
	}
	kept = st.Uid == other
	return true, kept, f.Chown(0, 0)
}

// allocated returns the bytes that a file takes up, 0 where the system does not say.
func allocated(f *os.File) (int64, error) {
	var st unix.Stat_t
	if err := unix.Fstat(int(f.Fd()), &st); err != nil {
		return 0, err
	}
	return st.Blocks * 512, nil // stat(2): units of 512 bytes
}

// times multiplies; what does not fit is as much as fits.
func times(n, unit uint64) int64 {
	hi, lo := bits.Mul64(n, unit)
	if hi != 0 || lo > math.MaxInt64 {
		return math.MaxInt64
	}
	return int64(lo)
}
