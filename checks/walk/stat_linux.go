package walk

import (
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// moreStat is what is needed of an entry beyond what Entry holds.
type moreStat struct {
	dev         uint64
	mountRoot   bool
	tellsMounts bool // the system knows whether it is one: Linux 5.8 and later
	trap        bool
}

// wanted is no more than Entry holds: file systems may have to ask for the rest.
const wanted = unix.STATX_TYPE | unix.STATX_MODE | unix.STATX_NLINK | unix.STATX_UID | unix.STATX_GID |
	unix.STATX_MTIME | unix.STATX_CTIME | unix.STATX_INO | unix.STATX_SIZE | unix.STATX_BLOCKS

// stat looks at the entry name (which ends with NUL) of the folder dir, without following a link
// and without mounting what is mounted on demand: a look must not, lstat(2) does not, and the walk
// will see what is there when it enters. e.Name stays as it is.
func (l *linuxLister) stat(dir int, name *byte, flags int, e *Entry) (moreStat, syscall.Errno) {
	if l.sys.oldStat.Load() {
		return oldStat(dir, name, flags, e)
	}
	st := &l.stx
	for {
		_, _, errno := syscall.Syscall6(unix.SYS_STATX, uintptr(dir), uintptr(unsafe.Pointer(name)),
			uintptr(flags|unix.AT_SYMLINK_NOFOLLOW|unix.AT_NO_AUTOMOUNT), wanted, uintptr(unsafe.Pointer(st)), 0)
		if errno == 0 {
			break
		}
		if errno != unix.EINTR {
			return moreStat{}, errno
		}
	}
	e.Size, e.Blocks, e.Inode = int64(st.Size), int64(st.Blocks), st.Ino
	e.Sec, e.Nsec = st.Mtime.Sec, int32(st.Mtime.Nsec)
	e.Stamp = StampOf(st.Ctime.Sec*1e9 + int64(st.Ctime.Nsec))
	e.BlockSize, e.Links, e.UID, e.GID = int32(st.Blksize), st.Nlink, st.Uid, st.Gid
	e.Perm, e.Kind = st.Mode&0o7777, kindOfMode(uint32(st.Mode))
	e.Failed, e.MountRoot = false, false
	if st.Mask&unix.STATX_BLOCKS == 0 {
		e.Blocks = -1
	}
	if st.Mask&unix.STATX_NLINK == 0 {
		e.Links = 1
	}
	return moreStat{
		dev:         unix.Mkdev(st.Dev_major, st.Dev_minor),
		mountRoot:   st.Attributes&unix.STATX_ATTR_MOUNT_ROOT != 0,
		tellsMounts: st.Attributes_mask&unix.STATX_ATTR_MOUNT_ROOT != 0,
		trap:        st.Attributes&unix.STATX_ATTR_AUTOMOUNT != 0,
	}, 0
}

// oldStat is stat for kernels before 4.11, and for containers that forbid statx.
func oldStat(dir int, name *byte, flags int, e *Entry) (moreStat, syscall.Errno) {
	var st unix.Stat_t
	for {
		err := unix.Fstatat(dir, unix.BytePtrToString(name), &st, flags|unix.AT_SYMLINK_NOFOLLOW|unix.AT_NO_AUTOMOUNT)
		if err == nil {
			break
		}
		if errno, _ := err.(syscall.Errno); errno != unix.EINTR { //nolint:errorlint // x/sys returns it bare
			return moreStat{}, errno
		}
	}
	*e = Entry{
		Name: e.Name, Size: st.Size, Blocks: st.Blocks, Inode: st.Ino,
		Sec: int64(st.Mtim.Sec), Nsec: int32(st.Mtim.Nsec), Stamp: StampOf(st.Ctim.Nano()), BlockSize: int32(st.Blksize),
		Links: uint32(st.Nlink), UID: st.Uid, GID: st.Gid,
		Perm: uint16(st.Mode & 0o7777), Kind: kindOfMode(st.Mode),
	}
	return moreStat{dev: uint64(st.Dev)}, 0
}

func kindOfMode(mode uint32) Kind {
	switch mode & unix.S_IFMT {
	case unix.S_IFREG:
		return File
	case unix.S_IFDIR:
		return Folder
	case unix.S_IFLNK:
		return Link
	}
	return Other
}
