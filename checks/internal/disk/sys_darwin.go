package disk

import (
	"errors"
	"os"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// renameNew is renameatx_np(2) with RENAME_EXCL: it fails where the new name is taken.
func renameNew(fromDir int, from string, toDir int, to string) error {
	return unix.RenameatxNp(fromDir, from, toDir, to, unix.RENAME_EXCL)
}

const renameNewName = "renameatx_np"

// Flush waits until a file, or the names in a folder, have arrived on the disk: fcntl(2) F_FULLFSYNC,
// which asks the drive too, or fsync(2) where the file system does not offer that. Errors of earlier
// writes are told once only, by the first flush after them.
func Flush(f *os.File) error {
	err := f.Sync() // F_FULLFSYNC, see internal/poll/fd_fsync_darwin.go of Go
	// A file system without it answers ENOTTY (xnu bsd/kern/kern_descrip.c, VNOP_IOCTL); the NFS client
	// answers EROFS for a volume that takes no writes (NFS kext/nfs_vnops.c, nfs_vnop_ioctl).
	for _, no := range []error{unix.ENOTTY, unix.ENOTSUP, unix.EINVAL, unix.EROFS} {
		if !errors.Is(err, no) {
			continue
		}
		err = retried(func() error { return unix.Fsync(int(f.Fd())) })
		if errors.Is(err, unix.EROFS) || (errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP)) && isFolder(f) {
			return nil
		}
		if err != nil {
			err = &os.PathError{Op: "fsync", Path: f.Name(), Err: err}
		}
		return err
	}
	return err
}

// FlushAll sends everything that this computer holds for the volume of an open file or folder, and waits for
// it where the volume offers that; sync(2) does not wait on this system. It tells of no writes that were lost
// (xnu bsd/vfs/vfs_syscalls.c, handle_sync_volume), so the way is always "": each file that counts has to be
// flushed.
func FlushAll(f *os.File) (way string, err error) {
	flags := uint32(syncWait | syncFull)
	err = retried(func() error {
		_, _, errno := syscall.Syscall6(syscall.SYS_FFSCTL, f.Fd(), syncVolume, uintptr(unsafe.Pointer(&flags)), 0, 0, 0)
		if errno != 0 {
			return errno
		}
		return nil
	})
	switch {
	case err == nil || errors.Is(err, unix.EROFS):
		return "", nil
	case errors.Is(err, unix.ENOTTY) || errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.EINVAL):
		return "", unix.Sync()
	}
	return "", &os.PathError{Op: "ffsctl", Path: f.Name(), Err: err}
}

// LastingNumbers reports whether a file in an open folder has one inode number for as long as it
// lives. FAT and exFAT make numbers up while the disk is mounted; of others it is not known.
func LastingNumbers(dir *os.File) bool {
	st, err := statfs(dir)
	if err != nil {
		return false
	}
	switch unix.ByteSliceToString(st.Fstypename[:]) {
	case "hfs", "apfs":
		return true
	}
	return false
}

// RespellsNames reports whether a folder is on a disk that stores names in a normal form of its own, so
// that it may list another name than it was given: HFS+ and HFSX (statfs(2), f_fstypename).
func RespellsNames(dir *os.File) bool {
	st, err := statfs(dir)
	return err == nil && unix.ByteSliceToString(st.Fstypename[:]) == "hfs"
}
