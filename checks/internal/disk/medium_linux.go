package disk

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// MediumOf tells what the folder at a path is on: by statfs(2), and of a disk by what sysfs says of it
// and of what it is plugged into. It may ask a server; of a disk it asks the kernel only.
func MediumOf(path string) Medium {
	var st unix.Statfs_t
	if retried(func() error { return unix.Statfs(path, &st) }) != nil {
		return Medium{}
	}
	switch uint32(st.Type) {
	case unix.NFS_SUPER_MAGIC, unix.SMB_SUPER_MAGIC, unix.CIFS_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC,
		unix.CEPH_SUPER_MAGIC, unix.AFS_SUPER_MAGIC, unix.AFS_FS_MAGIC, unix.CODA_SUPER_MAGIC, unix.V9FS_MAGIC:
		return Medium{Network: Yes, Rotates: No, USB: No}
	case unix.TMPFS_MAGIC, unix.RAMFS_MAGIC:
		return Medium{Network: No, Memory: true, Rotates: No, USB: No}
	}
	device := deviceUnder(path)
	if device == 0 {
		return Medium{}
	}
	m, _ := sysfs("/sys").medium(deviceNumber(device))
	return m
}

// deviceUnder returns the number of the block device under a path; 0 if there is none.
func deviceUnder(path string) uint64 { return deviceAt(unix.AT_FDCWD, path) }

// deviceAt is deviceUnder for a path from an open folder; "" is the open file itself. btrfs and others give
// each part a number that is no disk's: there the mount table knows.
func deviceAt(fd int, path string) uint64 {
	var st unix.Stat_t
	if retried(func() error { return unix.Fstatat(fd, path, &st, unix.AT_EMPTY_PATH) }) != nil {
		return 0
	}
	if unix.Major(uint64(st.Dev)) != 0 {
		return uint64(st.Dev)
	}
	m, ok := mountAbove(fd, path)
	if !ok {
		return 0
	}
	var source unix.Stat_t
	if unix.Stat(m.Source, &source) != nil || source.Mode&unix.S_IFMT != unix.S_IFBLK {
		return 0
	}
	return uint64(source.Rdev)
}

// deviceNumber writes the number of a device as the kernel does.
func deviceNumber(dev uint64) string {
	return fmt.Sprintf("%d:%d", unix.Major(dev), unix.Minor(dev))
}

// mountAbove finds the row of the mount table that a path is on, as deviceAt takes it.
func mountAbove(fd int, path string) (MountRow, bool) {
	var sx unix.Statx_t
	err := retried(func() error {
		return unix.Statx(fd, path, unix.AT_EMPTY_PATH|unix.AT_NO_AUTOMOUNT, unix.STATX_MNT_ID, &sx)
	})
	if err != nil || sx.Mask&unix.STATX_MNT_ID == 0 { // before Linux 5.8
		return MountRow{}, false
	}
	f, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return MountRow{}, false
	}
	defer f.Close()
	return mountOfID(f, strconv.FormatUint(sx.Mnt_id, 10))
}

// mountOfID finds a row of a mount table by its number.
func mountOfID(table io.Reader, id string) (MountRow, bool) {
	lines := bufio.NewScanner(table)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if m, ok := ReadMountRow(lines.Text()); ok && m.ID == id {
			return m, true
		}
	}
	return MountRow{}, false
}

// A sysfs is where the kernel describes its devices; tests have one of their own.
type sysfs string

// deepest is how many devices may be on one another: a loop of links must end.
const deepest = 16

// medium describes a block device by its number, and tells the speed of its USB link, Mb/s. Of several disks
// the worst counts.
func (s sysfs) medium(number string) (m Medium, mbps int) {
	m.Network = No
	dir, err := filepath.EvalSymlinks(filepath.Join(string(s), "dev/block", number))
	if err != nil {
		return m, 0
	}
	m.Volume = filepath.Base(dir)
	first := true
	s.eachDisk(dir, deepest, func(disk string) {
		rotates := Unknown
		switch strings.TrimSpace(read(disk, "queue/rotational")) {
		case "0":
			rotates = No
		case "1":
			rotates = Yes
		}
		usb, speed := usbLink(disk)
		mbps = slower(mbps, speed)
		if first {
			m.Disk, m.Rotates, m.USB = filepath.Base(disk), rotates, usb
		} else {
			m.Disk, m.Rotates, m.USB = "", worse(m.Rotates, rotates), worse(m.USB, usb)
		}
		first = false
	})
	return m, mbps
}

// eachDisk calls f for each whole disk that a device is on, by its folder in sysfs: of a partition, its
// disk; of a device made of others (RAID, encryption), theirs; of a file that is used as a disk, that of the file.
func (s sysfs) eachDisk(dir string, depth int, f func(disk string)) {
	if _, err := os.Stat(filepath.Join(dir, "partition")); err == nil {
		dir = filepath.Dir(dir)
	}
	var below []string
	if links, err := os.ReadDir(filepath.Join(dir, "slaves")); err == nil {
		for _, l := range links {
			below = append(below, filepath.Join(dir, "slaves", l.Name()))
		}
	}
	if file := strings.TrimSuffix(read(dir, "loop/backing_file"), "\n"); file != "" {
		if device := deviceUnder(file); device != 0 {
			below = append(below, filepath.Join(string(s), "dev/block", deviceNumber(device)))
		}
	}
	followed := false
	for _, link := range below {
		if real, err := filepath.EvalSymlinks(link); err == nil && depth > 0 {
			s.eachDisk(real, depth-1, f)
			followed = true
		}
	}
	if !followed {
		f(dir)
	}
}

// usbLink looks for the USB devices above a disk: each has a speed and a vendor (sysfs-bus-usb).
func usbLink(dir string) (on Answer, mbps int) {
	on = No
	for ; len(dir) > 1 && filepath.Base(dir) != "devices"; dir = filepath.Dir(dir) {
		if read(dir, "idVendor") == "" {
			continue
		}
		on = Yes
		mbps = slower(mbps, usbSpeed(read(dir, "speed")))
	}
	return on, mbps
}

func read(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return string(b)
}

// USBSpeed returns what the USB link of the disk under a path has agreed on, Mb/s, the slowest of the hubs
// between; 0 where that is not known or there is none.
func USBSpeed(path string) int {
	device := deviceUnder(path)
	if device == 0 {
		return 0
	}
	_, mbps := sysfs("/sys").medium(deviceNumber(device))
	return mbps
}
