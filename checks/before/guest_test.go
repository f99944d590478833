//go:build rig

package before

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
)

// Tests that run in the guest of testdata/nfsrig, with disks of the device mapper: TestInTheRig boots it.

// A mapped is an ext4 disk below which the device mapper may do anything.
type mapped struct {
	t       *testing.T
	dir     string
	device  string
	sectors int64
	unmount func()
}

const mib = 1 << 20

// mappedDisk makes one of so many bytes, which does nothing but pass on.
func mappedDisk(t *testing.T, size int64) *mapped {
	t.Helper()
	fixture.Command(t, "/", "modprobe", "-a", "loop", "dm-mod", "dm-dust", "dm-flakey", "dm-delay")
	m := &mapped{t: t, device: fixture.Loop(t, fixture.Image(t, size, "mkfs.ext4", "-q", "-b", "4096")), sectors: size / 512}
	m.dmsetup("create", "--noudevsync", "--noudevrules", "test", "--table", m.linear(0, m.sectors))
	t.Cleanup(func() { m.dmsetup("remove", "--noudevsync", "--noudevrules", "test") })
	m.dir = filepath.Join(realTemp(t), "disk")
	m.mount()
	return m
}

func (m *mapped) dmsetup(args ...string) { fixture.Command(m.t, "/", "dmsetup", args...) }

func (m *mapped) mount() { m.unmount = fixture.Mount(m.t, m.dir, "/dev/dm-0") }

// become puts another table under the mounted disk.
func (m *mapped) become(lines ...string) {
	m.t.Helper()
	m.dmsetup("suspend", "--noflush", "--nolockfs", "--noudevsync", "test")
	m.dmsetup("load", "--noudevsync", "test", "--table", strings.Join(lines, "\n"))
	m.dmsetup("resume", "--noudevsync", "--noudevrules", "test")
}

func (m *mapped) linear(from, to int64) string {
	return fmt.Sprintf("%d %d linear %s %d", from, to-from, m.device, from)
}

// sectorOf returns where a file begins. It must be in one piece.
func (m *mapped) sectorOf(file string) int64 {
	m.t.Helper()
	at, ok, err := disk.Place(filepath.Join(m.dir, file))
	fixture.Must(m.t, err)
	if !ok {
		m.t.Fatalf("%s has no place", file)
	}
	return at / 512
}

// settle writes all out and forgets it.
func (m *mapped) settle() {
	m.t.Helper()
	unix.Sync()
	fixture.Must(m.t, os.WriteFile("/proc/sys/vm/drop_caches", []byte("1"), 0o200))
}

// Bad sectors: exactly the damaged files fail, at the first bad block, with as much lost as there is bad, in one
// place or in several. A read of a whole block fails for a bad sector in it, which costs the rest of it nothing.
func TestGuestDust(t *testing.T) {
	m := mappedDisk(t, 128*mib)
	files := archiveOf(t, m.dir)
	fixture.WriteFile(t, filepath.Join(m.dir, "long.mov"), string(fixture.Noise(77, 9*mib+5)))
	m.settle()
	const one, many, end = "day1/clip 5.mov", "long.mov", "day1/clip 3.mov"
	a, b, c := m.sectorOf(one), m.sectorOf(many), m.sectorOf(end)
	m.become(fmt.Sprintf("0 %d dust %s 0 4096", m.sectors, m.device))
	for _, block := range []int64{a/8 + 3, b / 8, b/8 + 1, b/8 + 1500, c/8 + 1} {
		m.dmsetup("message", "test", "0", "addbadblock", fmt.Sprint(block))
	}
	m.dmsetup("message", "test", "0", "enable")
	state := t.TempDir()
	for run := range 2 {
		r := everyByteOf(t, reading(m.dir, state))
		// The file of 5,000 bytes ends in its second block.
		want := []string{"read-fails " + end + " 4096 904", "read-fails " + one + " 12288 4096", "read-fails " + many + " 0 12288"}
		if got := told(r); !slices.Equal(got, want) || r.Status != checks.Failed {
			t.Errorf("reading %d: %q, %+v", run, got, r.Findings)
		}
		if n := r.Fact("files_read").Value; run == 0 && n != int64(len(files)-2) || run == 1 && n != int64(0) {
			t.Errorf("reading %d: %v files read", run, n)
		}
	}
	// Written anew, the disk gives these blocks others in their place.
	for _, f := range []string{one, many, end} {
		text := fixture.Noise(5, 70_000)
		fixture.Must(t, os.Remove(filepath.Join(m.dir, f)))
		fixture.WriteFile(t, filepath.Join(m.dir, f), string(text))
	}
	m.settle()
	if r := everyByteOf(t, reading(m.dir, state)); r.Status != checks.Passed || r.Fact("files_read").Value != int64(3) {
		t.Errorf("restored: %v %q, %v read", r.Status, told(r), r.Fact("files_read").Value)
	}
	m.unmount()
}

// A disk that gives nothing but errors from some time on is asked for no more; what was read before is kept, and
// once the disk is whole again only the rest is read.
func TestGuestAllErrors(t *testing.T) {
	for _, broken := range []string{"0 SECTORS error", "0 SECTORS flakey DEVICE 0 0 3600"} {
		t.Run(strings.Fields(broken)[2], func(t *testing.T) {
			allErrors(t, broken)
		})
	}
}

func allErrors(t *testing.T, broken string) {
	m := mappedDisk(t, 64*mib)
	const files = 60
	for i := range files {
		fixture.WriteFile(t, filepath.Join(m.dir, fmt.Sprintf("clip %02d.mov", i)), string(fixture.Noise(byte(i), 100_000)))
	}
	m.settle()
	state, whole := t.TempDir(), true
	var one sync.Mutex // holds up the other lane until the disk is broken
	everyByteFile = func(n int64) {
		one.Lock()
		defer one.Unlock()
		if n >= 20 && whole {
			whole = false
			m.become(strings.NewReplacer("SECTORS", fmt.Sprint(m.sectors), "DEVICE", m.device).Replace(broken))
		}
	}
	r := everyByteOf(t, reading(m.dir, state))
	everyByteFile = nil
	if r.Rules["read-fails"] < 16 || !strings.Contains(r.Reason, "nothing but errors") || !strings.Contains(r.Reason, "to another disk") {
		t.Errorf("%v %q %v", r.Status, r.Reason, r.Rules)
	}
	for _, f := range r.Findings {
		if f.Rule == readFails && f.Part != nil && f.Part.Offset > 0 && f.Part.Offset+f.Part.Length != 100_000 {
			t.Errorf("%s: %+v", f.Path, f.Part)
		}
	}
	m.become(m.linear(0, m.sectors))
	r = everyByteOf(t, reading(m.dir, state))
	now, _ := r.Fact("files_read").Value.(int64)
	if r.Status != checks.Passed || now < 30 || now > files-20 {
		t.Errorf("whole again: %v %q, %d read", r.Status, r.Reason, now)
	}
	m.unmount()
}

// A disk that gives other bytes than it was given, and says nothing: the checksum list on it tells.
func TestGuestSilentlyWrong(t *testing.T) {
	m := mappedDisk(t, 64*mib)
	archiveOf(t, m.dir)
	list := fixture.Command(t, m.dir, "sha256sum", "day1/clip 5.mov", "day0/clip 4.mov")
	fixture.WriteFile(t, filepath.Join(m.dir, "SHA256SUMS"), list)
	m.settle()
	if r := everyByteOf(t, reading(m.dir, "")); r.Status != checks.Passed || r.Fact("known_checksums").Value != int64(2) {
		t.Fatalf("right: %v %q, %v agree", r.Status, told(r), r.Fact("known_checksums").Value)
	}
	at := m.sectorOf("day1/clip 5.mov") // whose first block now reads as its second one
	m.become(m.linear(0, at), fmt.Sprintf("%d 8 linear %s %d", at, m.device, at+8), m.linear(at+8, m.sectors))
	if r := everyByteOf(t, reading(m.dir, "")); !slices.Equal(told(r), []string{"known-checksum-differs day1/clip 5.mov"}) || r.Status != checks.Failed {
		t.Errorf("wrong: %v %q", r.Status, told(r))
	}
	m.unmount()
}

// A part of the disk that takes long is told, and where it begins.
func TestGuestDelay(t *testing.T) {
	everyByteStretch = 2 * mib
	defer func() { everyByteStretch = 0 }()
	m := mappedDisk(t, 128*mib)
	for i := range 3 {
		fixture.WriteFile(t, filepath.Join(m.dir, fmt.Sprintf("clip %d.mov", i)), string(fixture.Noise(byte(i), 10*mib)))
	}
	m.settle()
	at := m.sectorOf("clip 1.mov") + 4*mib/512
	m.become(m.linear(0, at), fmt.Sprintf("%d %d delay %s %d 400", at, 2*mib/512, m.device, at), m.linear(at+2*mib/512, m.sectors))
	r := everyByteOf(t, reading(m.dir, ""))
	// On a busy machine other stretches as short as these may be slow as well, twice over.
	if got := told(r); !slices.Contains(got, fmt.Sprintf("slow-reading clip 1.mov %d %d", 4*mib, 2*mib)) || r.Status != checks.Warned {
		t.Errorf("%v %q", r.Status, got)
	}
	m.become(m.linear(0, m.sectors))
	m.unmount()
}
