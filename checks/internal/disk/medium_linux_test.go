package disk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
)

// devices makes a folder like /sys: "path: content" makes a file, "path -> target" a link from dev/block or
// slaves to a device.
func devices(t testing.TB, lines ...string) sysfs {
	t.Helper()
	dir := t.TempDir()
	for _, line := range lines {
		if path, target, ok := strings.Cut(line, " -> "); ok {
			fixture.Must(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, path)), 0o755))
			fixture.Must(t, os.Symlink(filepath.Join(dir, target), filepath.Join(dir, path)))
			continue
		}
		path, content, _ := strings.Cut(line, ": ")
		fixture.Must(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, path)), 0o755))
		fixture.Must(t, os.WriteFile(filepath.Join(dir, path), []byte(content+"\n"), 0o644))
	}
	return sysfs(dir)
}

// The files are those of the kernel's documentation: Block/queue-sysfs (rotational), sysfs-bus-usb (idVendor,
// speed), sysfs-block (slaves, partition).
func TestSysfs(t *testing.T) {
	const usb, pci = "devices/pci0000:00/0000:00:14.0/usb2", "devices/pci0000:00/0000:00:1d.0"
	s := devices(t,
		// A disk on USB 3, behind a hub that agreed on 480 Mb/s.
		usb+"/idVendor: 1d6b", usb+"/speed: 5000",
		usb+"/2-1/idVendor: 1111", usb+"/2-1/speed: 480",
		usb+"/2-1/2-1.4/idVendor: 2222", usb+"/2-1/2-1.4/speed: 5000",
		usb+"/2-1/2-1.4/2-1.4:1.0/host6/target6:0:0/6:0:0:0/block/sda/queue/rotational: 1",
		usb+"/2-1/2-1.4/2-1.4:1.0/host6/target6:0:0/6:0:0:0/block/sda/sda1/partition: 1",
		"dev/block/8:0 -> "+usb+"/2-1/2-1.4/2-1.4:1.0/host6/target6:0:0/6:0:0:0/block/sda",
		"dev/block/8:1 -> "+usb+"/2-1/2-1.4/2-1.4:1.0/host6/target6:0:0/6:0:0:0/block/sda/sda1",
		// A disk inside, with an encrypted partition.
		pci+"/nvme/nvme0/nvme0n1/queue/rotational: 0",
		pci+"/nvme/nvme0/nvme0n1/nvme0n1p2/partition: 2",
		"dev/block/259:2 -> "+pci+"/nvme/nvme0/nvme0n1/nvme0n1p2",
		"devices/virtual/block/dm-0/queue/rotational: 0",
		"devices/virtual/block/dm-0/slaves/nvme0n1p2 -> "+pci+"/nvme/nvme0/nvme0n1/nvme0n1p2",
		"dev/block/253:0 -> devices/virtual/block/dm-0",
		// A mirror of the two, on the encrypted one.
		"devices/virtual/block/md0/queue/rotational: 0",
		"devices/virtual/block/md0/slaves/dm-0 -> devices/virtual/block/dm-0",
		"devices/virtual/block/md0/slaves/sda1 -> "+usb+"/2-1/2-1.4/2-1.4:1.0/host6/target6:0:0/6:0:0:0/block/sda/sda1",
		"dev/block/9:0 -> devices/virtual/block/md0",
		// Devices that are on one another in a circle.
		"devices/virtual/block/dm-1/slaves/dm-2 -> devices/virtual/block/dm-2",
		"devices/virtual/block/dm-2/slaves/dm-1 -> devices/virtual/block/dm-1",
		"dev/block/253:1 -> devices/virtual/block/dm-1",
		// A file that is gone, used as a disk.
		"devices/virtual/block/loop0/queue/rotational: 1",
		"devices/virtual/block/loop0/loop/backing_file: /no/such/file (deleted)",
		"dev/block/7:0 -> devices/virtual/block/loop0",
	)
	type facts struct {
		Medium
		mbps int
	}
	for number, want := range map[string]facts{
		"8:0":   {Medium{Network: No, Rotates: Yes, USB: Yes, Disk: "sda", Volume: "sda"}, 480},
		"8:1":   {Medium{Network: No, Rotates: Yes, USB: Yes, Disk: "sda", Volume: "sda1"}, 480},
		"259:2": {Medium{Network: No, Rotates: No, USB: No, Disk: "nvme0n1", Volume: "nvme0n1p2"}, 0},
		"253:0": {Medium{Network: No, Rotates: No, USB: No, Disk: "nvme0n1", Volume: "dm-0"}, 0},
		"9:0":   {Medium{Network: No, Rotates: Yes, USB: Yes, Disk: "", Volume: "md0"}, 480},
		"7:0":   {Medium{Network: No, Rotates: Yes, USB: No, Disk: "loop0", Volume: "loop0"}, 0},
		"1:1":   {Medium{Network: No}, 0},
	} {
		if m, mbps := s.medium(number); m != want.Medium || mbps != want.mbps {
			t.Errorf("%s: %+v, %d, want %+v", number, m, mbps, want)
		}
	}
	if got := strings.Join(s.disks("9:0"), " "); got != "nvme0n1 sda" {
		t.Errorf("disks of the mirror: %s", got)
	}
	_, _ = s.medium("253:1") // ends
}

// What the disk of a folder is, lsblk(8) and findmnt(8) say too, on a btrfs as well, whose files have the number of no disk.
func TestMediumOf(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dir := t.TempDir()
	source := strings.TrimSpace(fixture.Command(t, "/", "findmnt", "-n", "-o", "SOURCE", "--target", dir))
	// The device and what it is on, itself first.
	rows := strings.Fields(fixture.Command(t, "/", "lsblk", "-s", "-n", "-r", "-o", "NAME,ROTA", source))
	m := MediumOf(dir)
	want := map[string]Answer{"0": No, "1": Yes}[rows[len(rows)-1]]
	if m.Volume != filepath.Base(source) || m.Rotates != want || m.Network != No || m.Disk == "" {
		t.Errorf("%+v, lsblk says %q", m, rows)
	}
	for name, mkfs := range map[string][]string{"ext4": {"mkfs.ext4", "-q"}, "btrfs": {"mkfs.btrfs", "-q"}} {
		dev := fixture.Loop(t, fixture.Image(t, 120<<20, mkfs...))
		at := mountAt(t, dev)
		// A file that is used as a disk is as fast as the disk that it is on.
		if in := MediumOf(at); in.Volume != filepath.Base(dev) || in.Disk != m.Disk || in.Rotates != m.Rotates || in.Network != No {
			t.Errorf("%s: %+v, below it %+v", name, in, m)
		}
	}
	if USBSpeed("/proc") != 0 || MediumOf("/no/such/folder") != (Medium{}) {
		t.Error("no disk at all")
	}
}

// Errors are told apart, also inside of others.
func TestErrors(t *testing.T) {
	_, err := os.Open("/no/such/file")
	if MediumError(err) || Gone(err) || MediumError(nil) || Gone(nil) {
		t.Error("a file that is not there is no sign of the disk")
	}
	for _, e := range mediumErrors {
		if wrapped := (&os.PathError{Op: "read", Path: "x", Err: e}); !MediumError(wrapped) || Gone(wrapped) {
			t.Errorf("%v", e)
		}
	}
	for _, e := range goneErrors {
		if wrapped := (&os.PathError{Op: "read", Path: "x", Err: e}); MediumError(wrapped) || !Gone(wrapped) {
			t.Errorf("%v", e)
		}
	}
}
