package disk

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// MediumOf tells what the folder at a path lies on: by statfs(2), and of a disk by what sysfs says of it
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
	return sysfs("/sys").medium(deviceNumber(device))
}

// deviceUnder returns the number of the block device under a path; 0 if there is none.
func deviceUnder(path string) uint64 {
	var st unix.Stat_t
	if retried(func() error { return unix.Stat(path, &st) }) != nil {
		return 0
	}
	return deviceOf(uint64(st.Dev))
}

// deviceNumber writes the number of a device as the kernel does.
func deviceNumber(dev uint64) string {
	return fmt.Sprintf("%d:%d", unix.Major(dev), unix.Minor(dev))
}

// deviceOf returns the block device that a file system of this number is on; 0 if there is none. btrfs and
// others give each part a number that is no disk's: the mount table knows.
func deviceOf(dev uint64) uint64 {
	if unix.Major(dev) != 0 {
		return dev
	}
	f, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return 0
	}
	defer f.Close()
	for _, source := range mountSources(f, deviceNumber(dev)) {
		var st unix.Stat_t
		if unix.Stat(source, &st) == nil && st.Mode&unix.S_IFMT == unix.S_IFBLK {
			return uint64(st.Rdev)
		}
	}
	return 0
}

// mountSources returns what is mounted under a device number, from a mount table
// (proc_pid_mountinfo(5): … major:minor root mountpoint … " - " type source options).
func mountSources(table io.Reader, number string) (sources []string) {
	lines := bufio.NewScanner(table)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if m, ok := readMount(lines.Text()); ok && m.number == number {
			sources = append(sources, m.source)
		}
	}
	return sources
}

// A mount is a row of the mount table.
type mount struct {
	number  string // major:minor
	options string // of this mount
	kind    string
	source  string
	super   string // options of the file system, however often it is mounted
}

func readMount(line string) (mount, bool) {
	head, tail, ok := strings.Cut(line, " - ")
	fields, rest := strings.Split(head, " "), strings.Split(tail, " ")
	if !ok || len(fields) < 6 || len(rest) < 3 {
		return mount{}, false
	}
	return mount{number: fields[2], options: fields[5], kind: rest[0], source: unescapedMount(rest[1]), super: rest[2]}, true
}

// unescapedMount turns \ooo of the mount table into the bytes that they stand for.
func unescapedMount(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+3 < len(s) && s[i+1] >= '0' && s[i+1] <= '3' && s[i+2] >= '0' && s[i+2] <= '7' && s[i+3] >= '0' && s[i+3] <= '7' {
			b.WriteByte((s[i+1]-'0')<<6 | (s[i+2]-'0')<<3 | s[i+3] - '0')
			i += 3
			continue
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// A sysfs is where the kernel describes its devices; tests have one of their own.
type sysfs string

// deepest is how many devices may lie on one another: a loop of links must end.
const deepest = 16

// medium describes a block device by its number.
func (s sysfs) medium(number string) Medium {
	dir, err := filepath.EvalSymlinks(filepath.Join(string(s), "dev/block", number))
	if err != nil {
		return Medium{Network: No}
	}
	m := s.device(dir, deepest)
	m.Network = No
	m.Volume = filepath.Base(dir)
	return m
}

// device describes the device of a folder of sysfs: of a partition, its disk; of a device made of others
// (RAID, encryption), all of them, of which the worst counts.
func (s sysfs) device(dir string, depth int) Medium {
	if _, err := os.Stat(filepath.Join(dir, "partition")); err == nil {
		dir = filepath.Dir(dir)
	}
	m := Medium{Disk: filepath.Base(dir), USB: No}
	switch strings.TrimSpace(read(dir, "queue/rotational")) {
	case "0":
		m.Rotates = No
	case "1":
		m.Rotates = Yes
	}
	below, _ := filepath.Glob(filepath.Join(dir, "slaves", "*"))
	if depth > 0 && len(below) > 0 {
		for i, link := range below {
			real, err := filepath.EvalSymlinks(link)
			if err != nil {
				continue
			}
			part := s.device(real, depth-1)
			if i == 0 && len(below) == 1 {
				m.Disk = part.Disk
			}
			m.Rotates = worse(m.Rotates, part.Rotates)
			m.USB = worse(m.USB, part.USB)
			m.USBMbps = slower(m.USBMbps, part.USBMbps)
		}
		return m
	}
	if file := strings.TrimSuffix(read(dir, "loop/backing_file"), "\n"); file != "" && depth > 0 {
		// The disk that counts is that of the file. Without it, a loop device is said to rotate.
		if real, err := filepath.EvalSymlinks(filepath.Join(string(s), "dev/block", deviceNumber(deviceUnder(file)))); err == nil {
			part := s.device(real, depth-1)
			m.Rotates, m.USB, m.USBMbps = part.Rotates, part.USB, part.USBMbps
		}
		return m
	}
	m.USB, m.USBMbps = usbLink(dir)
	return m
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

// worse is the answer that costs more.
func worse(a, b Answer) Answer {
	if a == Yes || b == Yes {
		return Yes
	}
	if a == Unknown || b == Unknown {
		return Unknown
	}
	return No
}

// slower is the smaller of two speeds that are known.
func slower(a, b int) int {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}
