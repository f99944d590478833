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
// taken (renameat2(2), RENAME_NOREPLACE). It fails with errors.ErrUnsupported where the file system
// cannot promise that.
func renameExclusive(dir *os.File, from, to string) error {
	err := unix.Renameat2(int(dir.Fd()), from, int(dir.Fd()), to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.ENOTSUP) {
		return errors.ErrUnsupported
	}
	return err
}

// flush waits until the names of the whole disk have arrived on it (syncfs(2)).
func flush(dir *os.File) error { return unix.Syncfs(int(dir.Fd())) }

// flushesAll: flush waits for content too. Programs behind FUSE are told of no such flush, so it does not
// count where inode numbers do not last.
const flushesAll = true

// File system types whose inode numbers are made up while the disk is mounted (statfs(2)).
const (
	magicFAT  = 0x4d44
	magicFUSE = 0x65735546 // some have lasting numbers, but it does not say which
)

// lastingInodes reports whether a file has one inode number for as long as it lives.
func lastingInodes(dir *os.File) bool {
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(dir.Fd()), &st); err != nil {
		return false
	}
	switch st.Type {
	case magicFAT, unix.EXFAT_SUPER_MAGIC, magicFUSE:
		return false
	case unix.OVERLAYFS_SUPER_MAGIC: // a file has others once it was changed, and another device than its folder
		return false
	}
	return true
}

func accessTime(info fs.FileInfo) time.Time {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return time.Unix(st.Atim.Unix())
	}
	return time.Now()
}

// quietly leaves the date of the last reading as it is; only the owner may ask for it (open(2)).
const quietly = unix.O_NOATIME

// passCache makes the next reading of a file that was flushed ask the disk (posix_fadvise(2)).
func passCache(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }
