package walk

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// mediumOf tells the medium by statfs(2) and, of a disk, by what sysfs says of its queue.
func mediumOf(root string) medium {
	var st unix.Statfs_t
	if err := unix.Statfs(root, &st); err != nil {
		return unknownMedium
	}
	switch uint32(st.Type) {
	case unix.NFS_SUPER_MAGIC, unix.SMB_SUPER_MAGIC, unix.CIFS_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC,
		unix.CEPH_SUPER_MAGIC, unix.AFS_SUPER_MAGIC, unix.AFS_FS_MAGIC, unix.CODA_SUPER_MAGIC, unix.V9FS_MAGIC:
		return network
	case unix.TMPFS_MAGIC, unix.RAMFS_MAGIC, unix.OVERLAYFS_SUPER_MAGIC:
		return solid
	}
	var file unix.Stat_t
	if err := unix.Stat(root, &file); err != nil {
		return unknownMedium
	}
	dev := uint64(file.Dev)
	if unix.Major(dev) == 0 {
		// btrfs and others give each part a number that is no disk's; the mount table knows.
		if dev = diskOf(dev); dev == 0 {
			return unknownMedium
		}
	}
	return diskMedium(fmt.Sprintf("/sys/dev/block/%d:%d", unix.Major(dev), unix.Minor(dev)))
}

// diskMedium reads queue/rotational of a disk, or of the disk that a partition is part of
// (kernel documentation, Block/queue-sysfs).
func diskMedium(dir string) medium {
	dir, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return unknownMedium
	}
	text, err := os.ReadFile(dir + "/queue/rotational")
	if err != nil {
		text, err = os.ReadFile(filepath.Dir(dir) + "/queue/rotational")
	}
	switch {
	case err != nil:
		return unknownMedium
	case strings.TrimSpace(string(text)) == "0":
		return solid
	}
	return spinning
}

// diskOf returns the disk under the mount of device dev; 0 if there is none.
func diskOf(dev uint64) uint64 {
	f, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return 0
	}
	defer f.Close()
	number := fmt.Sprintf("%d:%d", unix.Major(dev), unix.Minor(dev))
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		// proc_pid_mountinfo(5): … major:minor … " - " type source options
		head, tail, ok := strings.Cut(lines.Text(), " - ")
		fields, rest := strings.Fields(head), strings.Fields(tail)
		if !ok || len(fields) < 3 || len(rest) < 2 || fields[2] != number {
			continue
		}
		var st unix.Stat_t
		if err := unix.Stat(rest[1], &st); err == nil && st.Mode&unix.S_IFMT == unix.S_IFBLK {
			return uint64(st.Rdev)
		}
	}
	return 0
}
