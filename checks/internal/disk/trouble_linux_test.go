package disk

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/fixture"
)

// signs writes troubles as sign=count, and fails for devices that are not named.
func signs(t testing.TB, found []Trouble) string {
	t.Helper()
	var s []string
	for _, f := range found {
		if f.Device == "" {
			t.Errorf("%+v is of no device", f)
		}
		text := string(f.Sign)
		if f.Count > 0 {
			text += "=" + strconv.FormatUint(f.Count, 10)
		}
		s = append(s, text)
	}
	return strings.Join(s, " ")
}

// ext4 counts an error that is put on it by its own switch (sysfs, trigger_fs_error), and where it is mounted so
// turns read-only.
func TestExt4Troubles(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	for options, want := range map[string]string{
		"errors=continue":   "file-system-errors=1",
		"errors=remount-ro": "file-system-errors=1 turned-read-only",
	} {
		dev := fixture.Loop(t, fixture.Image(t, 32<<20, "mkfs.ext4", "-q"))
		dir := mountAt(t, "-o", options, dev)
		found, asked, err := Troubles(dir)
		if err != nil || len(found) > 0 || strings.Join(asked, ", ") != "ext4 errors_count, mount options" {
			t.Errorf("%s, whole: %v, %v, %v", options, found, asked, err)
		}
		fixture.Must(t, os.WriteFile(filepath.Join("/sys/fs/ext4", filepath.Base(dev), "trigger_fs_error"), []byte("a test"), 0o200))
		kernelCounts(t, dev)
		if found, _, err = Troubles(dir); err != nil || signs(t, found) != want {
			t.Errorf("%s: %v, %v, want %s", options, found, err, want)
		}
		if len(found) > 0 && (found[0].Device != filepath.Base(dev) || time.Since(found[0].Last) > time.Hour || found[0].Last.After(time.Now())) {
			t.Errorf("%+v", found[0])
		}
		fixture.Must(t, unix.Unmount(dir, 0))
	}
}

// kernelCounts waits until the kernel has counted an error of ext4, which it does in the background.
func kernelCounts(t *testing.T, dev string) {
	t.Helper()
	look := time.NewTicker(10 * time.Millisecond)
	defer look.Stop()
	for end := time.Now().Add(time.Minute); ; <-look.C {
		count, err := os.ReadFile(filepath.Join("/sys/fs/ext4", filepath.Base(dev), "errors_count"))
		fixture.Must(t, err)
		if strings.TrimSpace(string(count)) != "0" {
			return
		}
		if time.Now().After(end) {
			t.Fatal("the kernel counts no error")
		}
	}
}

// A disk that a person has mounted without writing is no sign.
func TestMountedReadOnly(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 32<<20, "mkfs.ext4", "-q")
	dir := mountAt(t, "-o", "loop,ro", img)
	if found, _, err := Troubles(dir); err != nil || len(found) > 0 {
		t.Errorf("%v, %v", found, err)
	}
	fixture.Must(t, unix.Unmount(dir, 0))
	dir = mountAt(t, "-o", "loop", img)
	fixture.Command(t, "/", "mount", "-o", "remount,ro", dir)
	if found, _, err := Troubles(dir); err != nil || len(found) > 0 {
		t.Errorf("%v, %v", found, err)
	}
}

// The rows are as proc_pid_mountinfo(5) describes them.
func TestTurnedReadOnly(t *testing.T) {
	table := `25 30 0:23 / /sys rw,nosuid shared:7 - sysfs sysfs rw
30 1 259:2 / / rw,relatime shared:1 - ext4 /dev/root rw,errors=remount-ro
41 30 8:1 / /media/a\040b rw,relatime - ext4 /dev/sda1 ro,errors=remount-ro
42 30 8:2 / /media/c ro,relatime - ext4 /dev/sdb1 ro
43 30 8:3 / /media/d rw,relatime - ext4 /dev/sdc1 rw,emergency_ro
44 30 8:4 / /media/e rw,relatime - hfsplus /dev/sdd2 ro,nls=utf8
45 30 8:5 / /media/f ro,relatime - btrfs /dev/sde1 rw
46 30 8:5 / /media/g rw,relatime - btrfs /dev/sde1 rw
broken line
`
	for id, want := range map[string]string{
		"30": "known", "41": "stopped", "42": "known", "43": "stopped", "44": "unknown", "45": "known", "46": "known", "25": "unknown", "9": "unknown",
	} {
		m, _ := mountOfID(strings.NewReader(table), id)
		got := "unknown"
		switch stopped, known := turnedReadOnly(m); {
		case stopped:
			got = "stopped"
		case known:
			got = "known"
		}
		if got != want {
			t.Errorf("%s: %s, want %s", id, got, want)
		}
	}
	if m, ok := ReadMountRow(`1 2 8:1 / / rw - fuse.x a\040b\134c\011 rw`); !ok || m.Source != "a b\\c\t" {
		t.Errorf("%+v, %v", m, ok)
	}
}

// btrfs counts a wrong checksum; btrfs(8) tells the same numbers.
func TestBtrfsTroubles(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 120<<20, "mkfs.btrfs", "-q", "-d", "single", "-m", "dup")
	dir := mountAt(t, "-o", "loop", img)
	path := filepath.Join(dir, "file")
	fixture.Must(t, os.WriteFile(path, noise(100000), 0o644))
	fixture.Command(t, "/", "sync", "-f", dir)
	if found, asked, err := Troubles(dir); err != nil || len(found) > 0 || asked[0] != "btrfs device stats" {
		t.Errorf("whole: %v, %v, %v", found, asked, err)
	}
	fixture.Flip(t, img, onDisk(t, img, path)+100)
	r, err := OpenPast(path)
	fixture.Must(t, err)
	defer r.Close()
	if _, err := r.ReadAt(Buffer(64<<10), 0); !errors.Is(err, unix.EIO) {
		t.Fatalf("a damaged block: %v", err)
	}
	found, _, err := Troubles(dir)
	fixture.Must(t, err)
	want := regexp.MustCompile(`corruption_errs\s+(\d+)`).FindStringSubmatch(fixture.Command(t, "/", "btrfs", "device", "stats", dir))
	if want == nil || signs(t, found) != "checksum-errors="+want[1] {
		t.Errorf("%+v, btrfs says %q", found, want)
	}
}

// The counters are written field by field as include/uapi/linux/btrfs.h has them: devid, nr_items, flags,
// then write, read, flush, corruption and generation errors.
func TestBtrfsStats(t *testing.T) {
	b := btrfsStatsRequest(3)
	if b[0] != 3 || b[8] != 5 || !zero(b[16:]) {
		t.Errorf("asked %v", b[:32])
	}
	for i := range 5 {
		b[24+8*i] = byte(10 + i)
	}
	if got := signs(t, btrfsStatsAnswer(&b, "sda")); got != "write-errors=10 read-errors=11 flush-errors=12 checksum-errors=13 lost-writes=14" {
		t.Error(got)
	}
	b[8] = 2 // an older kernel counts less
	if got := signs(t, btrfsStatsAnswer(&b, "sda")); got != "write-errors=10 read-errors=11" {
		t.Error(got)
	}
}
