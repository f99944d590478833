//go:build linux || darwin

package fix

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// identify takes from what the system said of a file what tells it from others.
func identify(info fs.FileInfo) identity {
	id := identity{Kind: kindOf(info.Mode()), Size: info.Size(), Sec: info.ModTime().Unix(), Nsec: int32(info.ModTime().Nanosecond())}
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		id.Device, id.Inode = uint64(st.Dev), st.Ino
	}
	return id
}

func ownerOf(info fs.FileInfo) owner {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return owner{}
	}
	return owner{true, int(st.Uid), int(st.Gid)}
}

// lock keeps a second plan away from a source for as long as the folder stays open. The system
// lets go of it by itself when the process ends, however it ends.
func lock(dir *os.File) error {
	err := unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return ErrBusy
	}
	if errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.ENOLCK) || errors.Is(err, unix.EINVAL) {
		return nil // a file system without locks; journals still tell of an unfinished plan
	}
	return err
}

// linkTimes sets the modification time of a link itself, in an open folder.
func linkTimes(dir *os.File, name string, t time.Time) error {
	ts, err := unix.TimeToTimespec(t)
	if err != nil {
		return err
	}
	return unix.UtimesNanoAt(int(dir.Fd()), name, []unix.Timespec{ts, ts}, unix.AT_SYMLINK_NOFOLLOW)
}

// unlock lets go of a lock before the folder is closed.
func unlock(dir *os.File) { _ = unix.Flock(int(dir.Fd()), unix.LOCK_UN) }

// renameOver renames within one folder over what has the new name (renameat(2)). Unlike os.Rename
// it takes the place of an empty folder too.
func renameOver(dir *os.File, from, to string) error {
	return unix.Renameat(int(dir.Fd()), from, int(dir.Fd()), to)
}
