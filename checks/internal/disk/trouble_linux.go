package disk

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

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
	var file unix.Stat_t
	if err = retried(func() error { return unix.Fstatfs(fd, &st) }); err == nil {
		err = retried(func() error { return unix.Fstat(fd, &file) })
	}
	if err != nil {
		return nil, nil, &os.PathError{Op: "statfs", Path: path, Err: err}
	}
	number := deviceNumber(uint64(file.Dev))
	volume := sysfs("/sys").name(deviceOf(uint64(file.Dev)))
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
	if f, err := os.Open("/proc/self/mountinfo"); err == nil {
		defer f.Close()
		if stopped, ok := turnedReadOnly(f, number); ok {
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
	var b [1024]byte
	if btrfsAsk(fd, btrfsInfo, &b) != nil {
		return nil, false
	}
	_, highest := btrfsUUID(&b)
	for id := uint64(1); id <= min(highest, 4096); id++ {
		b = btrfsStatsRequest(id)
		if err := btrfsAsk(fd, btrfsStats, &b); errors.Is(err, unix.ENODEV) {
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

// btrfsSigns are what the values of a struct btrfs_ioctl_get_dev_stats count, in this order
// (include/uapi/linux/btrfs.h, enum btrfs_dev_stat_values).
var btrfsSigns = []Sign{WriteErrors, ReadErrors, FlushErrors, ChecksumErrors, LostWrites}

// btrfsStatsRequest asks for the counters of one device: its number, how many counters, flags, then the
// counters, 64 bits each.
func btrfsStatsRequest(id uint64) (b [1024]byte) {
	binary.NativeEndian.PutUint64(b[0:], id)
	binary.NativeEndian.PutUint64(b[8:], uint64(len(btrfsSigns)))
	return b
}

func btrfsStatsAnswer(b *[1024]byte, device string) (found []Trouble) {
	n := binary.NativeEndian.Uint64(b[8:]) // how many this kernel knows
	for i, sign := range btrfsSigns {
		if count := binary.NativeEndian.Uint64(b[24+8*i:]); uint64(i) < n && count > 0 {
			found = append(found, Trouble{Sign: sign, Device: device, Count: count})
		}
	}
	return found
}

// turning are the file systems that the kernel turns read-only after an error and for no other reason.
// HFS+ is not one: with a journal it is always read-only, whatever was asked for.
var turning = []string{"ext2", "ext3", "ext4", "btrfs", "f2fs", "vfat", "exfat"}

// turnedReadOnly tells from a mount table whether the kernel has stopped all writing to a file system that
// was mounted for writing: the mount still says rw, the file system ro, or on newer kernels that of an
// emergency or a shutdown. What a person mounts ro says so in both places. ok is false where it would not
// show.
func turnedReadOnly(table io.Reader, number string) (stopped, ok bool) {
	for m := range mounts(table) {
		if m.number != number || !slices.Contains(turning, m.kind) {
			continue
		}
		ok = true
		own, super := strings.Split(m.options, ","), strings.Split(m.super, ",")
		if slices.Contains(own, "rw") && slices.Contains(super, "ro") ||
			slices.Contains(super, "emergency_ro") || slices.Contains(super, "shutdown") {
			stopped = true
		}
	}
	return stopped, ok
}
