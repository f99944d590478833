package disk

import (
	"encoding/binary"
	"unsafe"

	"golang.org/x/sys/unix"
)

// include/uapi/linux/btrfs.h.
const (
	btrfsInfoCall  = 0x8400941f // BTRFS_IOC_FS_INFO, _IOR(0x94, 31, 1,024 bytes)
	btrfsStatsCall = 0xc4089434 // BTRFS_IOC_GET_DEV_STATS, _IOWR(0x94, 52, 1,032 bytes)
)

type (
	btrfsInfoBytes  [1024]byte
	btrfsStatsBytes [1032]byte
)

// btrfsInfo asks a btrfs what it is, by an open file or folder of it. Anybody may ask.
func btrfsInfo(fd int) (*btrfsInfoBytes, error) {
	var b btrfsInfoBytes
	return &b, ask(fd, btrfsInfoCall, unsafe.Pointer(&b))
}

// btrfsInfoAnswer reads a struct btrfs_ioctl_fs_info_args: the highest number of a device and how many there
// are, 64 bits each, then the UUID.
func btrfsInfoAnswer(b *btrfsInfoBytes) (uuid string, highest uint64) {
	return formatUUID(b[16:32]), binary.NativeEndian.Uint64(b[:])
}

// btrfsSigns are what the values of a struct btrfs_ioctl_get_dev_stats count, in this order
// (enum btrfs_dev_stat_values).
var btrfsSigns = []Sign{WriteErrors, ReadErrors, FlushErrors, ChecksumErrors, LostWrites}

// btrfsStatsRequest asks for the counters of one device: its number, how many counters, flags, then the
// counters, 64 bits each.
func btrfsStatsRequest(id uint64) (b btrfsStatsBytes) {
	binary.NativeEndian.PutUint64(b[0:], id)
	binary.NativeEndian.PutUint64(b[8:], uint64(len(btrfsSigns)))
	return b
}

func btrfsStatsAnswer(b *btrfsStatsBytes, device string) (found []Trouble) {
	n := binary.NativeEndian.Uint64(b[8:]) // how many this kernel knows
	for i, sign := range btrfsSigns {
		if count := binary.NativeEndian.Uint64(b[24+8*i:]); uint64(i) < n && count > 0 {
			found = append(found, Trouble{Sign: sign, Device: device, Count: count})
		}
	}
	return found
}

// ask is ioctl(2) with a structure.
func ask(fd int, call uintptr, b unsafe.Pointer) error {
	return retried(func() error {
		if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), call, uintptr(b)); errno != 0 {
			return errno
		}
		return nil
	})
}
