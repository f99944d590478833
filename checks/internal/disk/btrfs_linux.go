package disk

import (
	"encoding/binary"
	"unsafe"

	"golang.org/x/sys/unix"
)

// include/uapi/linux/btrfs.h: both structures have 1,024 bytes, 'type' is BTRFS_IOCTL_MAGIC 0x94.
const (
	btrfsInfo  = 0x8400941f // BTRFS_IOC_FS_INFO, _IOR(0x94, 31, …)
	btrfsStats = 0xc4009434 // BTRFS_IOC_GET_DEV_STATS, _IOWR(0x94, 52, …)
)

// btrfsAsk asks a btrfs by an open file or folder of it. Anybody may ask.
func btrfsAsk(fd int, what uintptr, b *[1024]byte) error {
	return retried(func() error {
		if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), what, uintptr(unsafe.Pointer(b))); errno != 0 {
			return errno
		}
		return nil
	})
}

// btrfsUUID reads the UUID from a struct btrfs_ioctl_fs_info_args: the highest number of a device and how
// many there are, 64 bits each, then the UUID.
func btrfsUUID(b *[1024]byte) (uuid string, highest uint64) {
	return formatUUID(b[16:32]), binary.NativeEndian.Uint64(b[:])
}
