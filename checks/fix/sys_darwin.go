package fix

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// renameExclusive renames within one folder and fails with fs.ErrExist where the new name is
// taken (renameatx_np(2), RENAME_EXCL). It fails with errors.ErrUnsupported where the file system
// cannot promise that.
func renameExclusive(dir *os.File, from, to string) error {
	err := unix.RenameatxNp(int(dir.Fd()), from, int(dir.Fd()), to, unix.RENAME_EXCL)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.ENOTSUP) {
		return errors.ErrUnsupported
	}
	return err
}

// flush waits until names have arrived on the disk, as far as the system offers it.
func flush(dir *os.File) error { return dir.Sync() }

const flushesAll = false

// lastingInodes reports whether a file has one inode number for as long as it lives.
func lastingInodes(dir *os.File) bool {
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(dir.Fd()), &st); err != nil {
		return false
	}
	switch unix.ByteSliceToString(st.Fstypename[:]) {
	case "hfs", "apfs":
		return true
	}
	return false
}

func accessTime(info fs.FileInfo) time.Time {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return time.Unix(st.Atimespec.Unix())
	}
	return time.Now()
}

const quietly = 0 // the system offers nothing like it

// passCache makes the next reading of a file that was flushed ask the disk (fcntl(2), F_NOCACHE).
func passCache(f *os.File) { _, _ = unix.FcntlInt(f.Fd(), unix.F_NOCACHE, 1) }
