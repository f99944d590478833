package disk

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

func fillState(s *State, info fs.FileInfo) {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		s.Device, s.Number, s.Changed, s.Known = uint64(st.Dev), st.Ino, st.Ctim.Nano(), st.Ino != 0
	}
}

// DiskID returns what the file system under a path is known by on every mount and every port: its
// UUID, or what stands for it. It is "" where nothing lasting is known, and on a share.
func DiskID(path string) (string, error) {
	fd, err := openPlain(path)
	if err != nil {
		return "", err
	}
	defer unix.Close(fd)
	var st unix.Statfs_t
	if err := retried(func() error { return unix.Fstatfs(fd, &st) }); err != nil {
		return "", &os.PathError{Op: "statfs", Path: path, Err: err}
	}
	id := uuidByKernel(fd)
	if id == "" {
		id = uuidByLink(fd, "/dev/disk/by-uuid")
	}
	fsid := st.Fsid.Val
	switch uint32(st.Type) {
	case unix.BTRFS_SUPER_MAGIC:
		if b, err := btrfsInfo(fd); err == nil {
			id, _ = btrfsInfoAnswer(b)
		}
		// Subvolumes share a UUID, and number their files each from the start; statfs(2) there mixes UUID and
		// subvolume (fs/btrfs/super.c, btrfs_statfs).
		if id != "" {
			return fmt.Sprintf("uuid:%s/%08x%08x", id, uint32(fsid[0]), uint32(fsid[1])), nil
		}
		return fmt.Sprintf("fsid:%08x%08x", uint32(fsid[0]), uint32(fsid[1])), nil
	case unix.EXT4_SUPER_MAGIC, unix.F2FS_SUPER_MAGIC:
		// Made of the UUID (fs/ext4/super.c, ext4_statfs; fs/f2fs/super.c); elsewhere it is made of the number
		// of the device, which does not last.
		if id == "" && fsid != [2]int32{} {
			return fmt.Sprintf("fsid:%08x%08x", uint32(fsid[0]), uint32(fsid[1])), nil
		}
	}
	if id == "" {
		return "", nil
	}
	return "uuid:" + id, nil
}

func openPlain(path string) (int, error) {
	var fd int
	err := retried(func() (err error) {
		fd, err = unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
		return err
	})
	if err != nil {
		return -1, &os.PathError{Op: "open", Path: path, Err: err}
	}
	return fd, nil
}

// fsGetUUID is FS_IOC_GETFSUUID, Linux 6.9 (include/uapi/linux/fs.h: _IOR(0x15, 0, struct fsuuid2), a
// length of 8 bits and 16 bytes).
const fsGetUUID = 0x80111500

func uuidByKernel(fd int) string {
	var b [17]byte
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), fsGetUUID, uintptr(unsafe.Pointer(&b)))
	if errno != 0 || b[0] != 16 || zero(b[1:]) {
		return ""
	}
	return formatUUID(b[1:])
}

// uuidByLink looks for the link that the system makes to the device of each file system, named after
// its UUID (udev).
func uuidByLink(fd int, dir string) string {
	device := deviceAt(fd, "")
	if device == 0 {
		return ""
	}
	list, err := os.ReadDir(dir)
	if err != nil {
		return ""
	}
	for _, e := range list {
		var to unix.Stat_t
		if unix.Stat(filepath.Join(dir, e.Name()), &to) == nil && to.Mode&unix.S_IFMT == unix.S_IFBLK && uint64(to.Rdev) == device {
			return e.Name()
		}
	}
	return ""
}

// offset tells where on its disk a file begins, bytes, so that many can be read in the order of the
// disk; false where that is not known. Files too small to have a place of their own have none
// (kernel documentation, filesystems/fiemap).
func offset(f *os.File) (at int64, ok bool) {
	b := fiemapRequest()
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, f.Fd(), fiemap, uintptr(unsafe.Pointer(&b)))
	if errno != 0 {
		return 0, false
	}
	return fiemapAnswer(b)
}

// AccessTime is when a file was last read, as the system said it of the file; now where it did not.
func AccessTime(info fs.FileInfo) time.Time {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return time.Unix(st.Atim.Unix())
	}
	return time.Now()
}
