//go:build linux || darwin

package disk

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// Owner is whose a file is, by number, as the system said it of the file.
func Owner(info fs.FileInfo) (uid, gid int, known bool) {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, 0, false
	}
	return int(st.Uid), int(st.Gid), true
}

// SetLinkTime sets the modification time of a symbolic link itself, in an open folder (utimensat(2),
// AT_SYMLINK_NOFOLLOW).
func SetLinkTime(dir *os.File, name string, t time.Time) error {
	ts, err := unix.TimeToTimespec(t)
	if err != nil {
		return err
	}
	return unix.UtimesNanoAt(int(dir.Fd()), name, []unix.Timespec{ts, ts}, unix.AT_SYMLINK_NOFOLLOW)
}

// LockFolder keeps other processes and this one from locking the same folder, for as long as it stays
// open or until Unlock (flock(2)). The system lets go of the lock by itself when the process ends,
// however it ends. Where somebody has it the error is ErrLocked. File systems without locks take every
// one.
func LockFolder(dir *os.File) error {
	err := unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	switch {
	case errors.Is(err, unix.EWOULDBLOCK):
		return ErrLocked
	case errors.Is(err, unix.EOPNOTSUPP), errors.Is(err, unix.ENOLCK), errors.Is(err, unix.EINVAL):
		return nil
	}
	return err
}

// UnlockFolder lets go of a lock before the folder is closed.
func UnlockFolder(dir *os.File) { _ = unix.Flock(int(dir.Fd()), unix.LOCK_UN) }
