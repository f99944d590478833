package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// renameNew is renameat2(2) with RENAME_NOREPLACE: it fails where the new name is taken.
func renameNew(fromDir int, from string, toDir int, to string) error {
	return unix.Renameat2(fromDir, from, toDir, to, unix.RENAME_NOREPLACE)
}

const renameNewName = "renameat2"

// Flush waits until a file, or the names in a folder, have arrived on the disk (fsync(2)). Errors of
// earlier writes are told once only, by the first flush after them.
func Flush(f *os.File) error {
	err := f.Sync()
	if err != nil && (errors.Is(err, unix.EINVAL) || errors.Is(err, unix.EOPNOTSUPP)) && isFolder(f) {
		return nil // some file systems have no flush of a folder: names go with the files there
	}
	return err
}

// FlushAll waits until everything that this computer holds for the file system of an open file or
// folder has arrived on it, names and content (syncfs(2)), tells of writes that were lost, and names the
// way. Programs behind FUSE are told of no such flush: there the way is "", and each file that counts has
// to be flushed.
func FlushAll(f *os.File) (way string, err error) {
	if err := retried(func() error { return unix.Syncfs(int(f.Fd())) }); err != nil {
		return syncfs, &os.PathError{Op: "syncfs", Path: f.Name(), Err: err}
	}
	if st, err := statfs(f); err == nil && st.Type == unix.FUSE_SUPER_MAGIC {
		return "", nil
	}
	return syncfs, nil
}

const syncfs = "syncfs(2)"

// LastingNumbers reports whether a file in an open folder has one inode number for as long as it
// lives. FAT, exFAT and many programs behind FUSE make numbers up while the disk is mounted, and on an
// overlay a file has another once it was changed (statfs(2), kernel documentation of overlayfs).
func LastingNumbers(dir *os.File) bool {
	st, err := statfs(dir)
	if err != nil {
		return false
	}
	switch st.Type {
	case unix.MSDOS_SUPER_MAGIC, unix.EXFAT_SUPER_MAGIC, unix.FUSE_SUPER_MAGIC, unix.OVERLAYFS_SUPER_MAGIC:
		return false
	}
	return true
}

// quietRead is a flag of open(2) that leaves the date of the last reading as it is. Only the owner may
// ask for it: elsewhere opening fails with fs.ErrPermission.
const quietRead = unix.O_NOATIME

// RespellsNames reports whether a folder is on a disk that stores names in a normal form of its own, so
// that it may list another name than it was given: HFS+ and HFSX (statfs(2), HFSPLUS_SUPER_MAGIC).
func RespellsNames(dir *os.File) bool {
	const magic = 0x482b
	st, err := statfs(dir)
	return err == nil && st.Type == magic
}
