package disk

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Troubles returns what the kernel has counted of errors of the file system under a path, and whether it
// has stopped all writing to it. Asked names the counters that it could read: without any, nothing is known.
func Troubles(path string) (found []Trouble, asked []string, err error) {
	fd, err := openPlain(path)
	if err != nil {
		return nil, nil, err
	}
	defer unix.Close(fd)
	var st unix.Statfs_t
	if err := retried(func() error { return unix.Fstatfs(fd, &st) }); err != nil {
		return nil, nil, &os.PathError{Op: "statfs", Path: path, Err: err}
	}
	volume := sysfs("/sys").name(deviceAt(fd, ""))
	switch uint32(st.Type) {
	case unix.EXT4_SUPER_MAGIC:
		if t, ok := ext4Troubles("/sys/fs/ext4", volume); ok {
			found, asked = append(found, t...), append(asked, "ext4 errors_count")
		}
	case unix.BTRFS_SUPER_MAGIC:
		if t, ok := btrfsTroubles(fd, volume); ok {
			found, asked = append(found, t...), append(asked, "btrfs device stats")
		}
	}
	if m, ok := mountAbove(fd, ""); ok {
		if stopped, known := turnedReadOnly(m); known {
			asked = append(asked, "mount options")
			if stopped {
				found = append(found, Trouble{Sign: TurnedReadOnly, Device: volume})
			}
		}
	}
	return found, asked, nil
}

// name returns the name of a block device; "" if there is none.
func (s sysfs) name(device uint64) string {
	if device == 0 {
		return ""
	}
	dir, err := filepath.EvalSymlinks(filepath.Join(string(s), "dev/block", deviceNumber(device)))
	if err != nil {
		return ""
	}
	return filepath.Base(dir)
}

// ext4Troubles reads the errors that an ext4 has counted since it was last repaired
// (Documentation/ABI/testing/sysfs-fs-ext4: errors_count, last_error_time in seconds since 1970). The counter
// is kept on the disk.
func ext4Troubles(dir, volume string) ([]Trouble, bool) {
	if volume == "" {
		return nil, false
	}
	count, err := strconv.ParseUint(strings.TrimSpace(read(filepath.Join(dir, volume), "errors_count")), 10, 64)
	if err != nil {
		return nil, false
	}
	if count == 0 {
		return nil, true
	}
	t := Trouble{Sign: FileSystemErrors, Device: volume, Count: count}
	if last, err := strconv.ParseInt(strings.TrimSpace(read(filepath.Join(dir, volume), "last_error_time")), 10, 64); err == nil && last > 0 {
		t.Last = time.Unix(last, 0)
	}
	return []Trouble{t}, true
}

// btrfsTroubles asks for the errors that a btrfs has counted on each of its devices. The counters are kept on
// the disk until somebody resets them.
func btrfsTroubles(fd int, volume string) (found []Trouble, ok bool) {
	info, err := btrfsInfo(fd)
	if err != nil {
		return nil, false
	}
	_, highest := btrfsInfoAnswer(info)
	for id := uint64(1); id <= min(highest, 4096); id++ {
		b := btrfsStatsRequest(id)
		if err := ask(fd, btrfsStatsCall, unsafe.Pointer(&b)); errors.Is(err, unix.ENODEV) {
			continue // numbers of devices that were taken out
		} else if err != nil {
			return found, false
		}
		device := volume
		if highest > 1 {
			device += ", device " + strconv.FormatUint(id, 10)
		}
		found = append(found, btrfsStatsAnswer(&b, device)...)
	}
	return found, true
}

// turning are the file systems that the kernel turns read-only after an error and for no other reason.
// HFS+ is not one: with a journal it is always read-only, whatever was asked for.
var turning = []string{"ext2", "ext3", "ext4", "btrfs", "f2fs", "vfat", "exfat"}

// turnedReadOnly tells whether the kernel has stopped all writing to a file system that was mounted for
// writing: the mount still says rw, the file system ro, or on newer kernels that of an emergency or a
// shutdown. What a person mounts ro says so in both places. known is false where it would not show.
func turnedReadOnly(m MountRow) (stopped, known bool) {
	if m.Super == "" || !slices.Contains(turning, m.Type) {
		return false, false
	}
	own, super := strings.Split(m.Options, ","), strings.Split(m.Super, ",")
	return slices.Contains(own, "rw") && slices.Contains(super, "ro") ||
		slices.Contains(super, "emergency_ro") || slices.Contains(super, "shutdown"), true
}
