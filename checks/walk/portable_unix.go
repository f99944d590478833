//go:build unix

package walk

import (
	"io/fs"
	"runtime"
	"syscall"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/disk"
)

const (
	openNoFollow = syscall.O_NOFOLLOW
	openNoWait   = syscall.O_NONBLOCK
	openFolder   = syscall.O_DIRECTORY
)

func fillSystem(e *Entry, info fs.FileInfo) (dev uint64) {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0
	}
	e.Blocks, e.BlockSize = int64(st.Blocks), int32(st.Blksize)
	e.Inode, e.Links = uint64(st.Ino), uint32(st.Nlink)
	e.UID, e.GID = st.Uid, st.Gid
	e.Stamp = StampOf(disk.StateOf(info).Changed)
	fillFlags(e, st)
	if runtime.GOOS == "darwin" {
		return uint64(uint32(st.Dev)) // dev_t has a sign there; one number for one device, as in disk.State
	}
	return uint64(st.Dev)
}

func access(path string, search bool) error {
	mode := uint32(unix.R_OK)
	if search {
		mode |= unix.X_OK
	}
	if err := unix.Faccessat(unix.AT_FDCWD, path, mode, unix.AT_EACCESS); err != nil {
		return &fs.PathError{Op: "access", Path: path, Err: err}
	}
	return nil
}
