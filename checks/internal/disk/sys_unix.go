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

// quietFlags open a file itself and not what it may link to, without waiting for whoever may write to a pipe.
const quietFlags = unix.O_NOFOLLOW | unix.O_NONBLOCK

// RenameNewAt renames within one open folder and fails with fs.ErrExist where the new name is taken. It fails
// with errors.ErrUnsupported where the file system cannot promise that.
func RenameNewAt(dir *os.File, from, to string) error {
	return noReplace(int(dir.Fd()), from, int(dir.Fd()), to)
}

func renameNoReplace(from, to string) error {
	return noReplace(unix.AT_FDCWD, from, unix.AT_FDCWD, to)
}

func noReplace(fromDir int, from string, toDir int, to string) error {
	err := retried(func() error { return renameNew(fromDir, from, toDir, to) })
	switch {
	case err == nil:
		return nil
	case isOne(err, []error{unix.EINVAL, unix.ENOSYS, unix.EOPNOTSUPP, unix.ENOTSUP}):
		err = errors.ErrUnsupported
	}
	return &os.LinkError{Op: renameNewName, Old: from, New: to, Err: err}
}

// RenameOverAt renames within one open folder over what has the new name (renameat(2)). Unlike
// os.Rename it takes the place of an empty folder too.
func RenameOverAt(dir *os.File, from, to string) error {
	err := retried(func() error { return unix.Renameat(int(dir.Fd()), from, int(dir.Fd()), to) })
	if err != nil {
		return &os.LinkError{Op: "renameat", Old: from, New: to, Err: err}
	}
	return nil
}

// FlushFolder waits until the names in a folder have arrived on the disk, so that a file that was put
// in place there stays there. It does nothing where the system has no such call.
func FlushFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return Flush(f)
}

func isFolder(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.IsDir()
}

// links returns how many names a file has.
func links(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(st.Nlink)
	}
	return 0
}

// retried does a call again that a signal broke off.
func retried(call func() error) error {
	for {
		if err := call(); !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}

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

// statfs tells about the file system of an open file or folder.
func statfs(f *os.File) (st unix.Statfs_t, err error) {
	err = retried(func() error { return unix.Fstatfs(int(f.Fd()), &st) })
	return st, err
}
