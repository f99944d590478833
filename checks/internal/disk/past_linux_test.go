package disk

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/fixture"
)

// What is read past the cache comes from the disk: a byte is changed behind the back of the file system
// while the whole file is in memory. An ordinary reading does not see it.
func TestPastSeesTheDisk(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	for name, c := range map[string]struct {
		size    int64 // of the disk, MiB; each file system has a smallest one
		mkfs    []string
		options string
	}{
		"ext4":                 {32, []string{"mkfs.ext4", "-q"}, "loop"},
		"ext4, data journaled": {32, []string{"mkfs.ext4", "-q"}, "loop,data=journal"},
		"xfs":                  {320, []string{"mkfs.xfs", "-q"}, "loop"},
		"btrfs without sums":   {120, []string{"mkfs.btrfs", "-q", "-d", "single", "-m", "dup"}, "loop,nodatasum"},
	} {
		t.Run(name, func(t *testing.T) {
			img := fixture.Image(t, c.size<<20, c.mkfs...)
			dir := mountAt(t, "-o", c.options, img)
			path := filepath.Join(dir, "file")
			content := noise(1<<20 + 100)
			fixture.Must(t, os.WriteFile(path, content, 0o644))
			fixture.Command(t, "/", "sync", "-f", dir)
			before, err := os.ReadFile(path)
			fixture.Must(t, err)
			fixture.Flip(t, img, onDisk(t, img, path)+5000)
			if after, err := os.ReadFile(path); err != nil || !bytes.Equal(after, before) {
				t.Fatalf("an ordinary reading sees the disk, so this test shows nothing (%v)", err)
			}
			got, way, by := readAll(t, path, 64<<10)
			content[5000] ^= 0xff
			if !bytes.Equal(got, content) || way != Direct || by != byDirect {
				t.Errorf("sees the disk: %v, %s by %q", bytes.Equal(got, content), way, by)
			}
		})
	}
}

// onDisk returns where a file begins in the image that it is in.
func onDisk(t testing.TB, img, path string) int64 {
	t.Helper()
	at, ok, err := Place(path)
	fixture.Must(t, err)
	if !ok {
		t.Fatalf("%s has no place", path)
	}
	var st unix.Statfs_t
	fixture.Must(t, unix.Statfs(path, &st))
	if st.Type != unix.BTRFS_SUPER_MAGIC {
		return at
	}
	// btrfs tells addresses of its own.
	out := fixture.Command(t, "/", "btrfs-map-logical", "-l", strconv.FormatInt(at, 10), img)
	match := regexp.MustCompile(`physical (\d+)`).FindStringSubmatch(out)
	if match == nil {
		t.Fatalf("btrfs-map-logical says %s", out)
	}
	at, err = strconv.ParseInt(match[1], 10, 64)
	fixture.Must(t, err)
	return at
}

// btrfs reads compressed files through the cache even with O_DIRECT. A byte that is changed in the image
// makes the checksum wrong: that must be seen.
func TestPastCompressed(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 120<<20, "mkfs.btrfs", "-q", "-d", "single", "-m", "dup")
	dir := mountAt(t, "-o", "loop,compress-force=zlib", img)
	path, other := filepath.Join(dir, "file"), filepath.Join(dir, "held")
	content := bytes.Repeat([]byte("all the same and easy to compress\n"), 4000)
	fixture.Must(t, os.WriteFile(path, content, 0o644))
	fixture.Must(t, os.WriteFile(other, content, 0o644))
	fixture.Command(t, "/", "sync", "-f", dir)
	got, way, by := readAll(t, path, 64<<10)
	if !bytes.Equal(got, content) || way != Direct || by != byDirect {
		t.Errorf("whole: %s by %q", way, by)
	}
	if _, err := os.ReadFile(path); err != nil { // into memory
		t.Fatal(err)
	}
	fixture.Flip(t, img, onDisk(t, img, path)+20)
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(after, content) {
		t.Fatalf("an ordinary reading sees the disk, so this test shows nothing (%v)", err)
	}
	r, err := OpenPast(path)
	fixture.Must(t, err)
	defer r.Close()
	if _, err := r.ReadAt(Buffer(64<<10), 0); !errors.Is(err, unix.EIO) || !MediumError(err) {
		t.Errorf("a damaged block: %v by %q", err, r.By())
	}
	// What cannot be dropped from memory was not read from the disk for sure.
	held(t, other)
	if got, way, _ := readAll(t, other, 64<<10); way != Cached || !bytes.Equal(got, content) {
		t.Errorf("held in memory: %s", way)
	}
}

// A file that is held in memory by somebody is still read from the disk where O_DIRECT is believed.
func TestPastHeld(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	for name, c := range map[string]struct {
		mkfs []string
		want Way
	}{
		"ext4":  {[]string{"mkfs.ext4", "-q"}, Direct},
		"btrfs": {[]string{"mkfs.btrfs", "-q"}, Cached},
	} {
		t.Run(name, func(t *testing.T) {
			dir := mountAt(t, "-o", "loop", fixture.Image(t, 120<<20, c.mkfs...))
			path := filepath.Join(dir, "file")
			fixture.Must(t, os.WriteFile(path, noise(100000), 0o644))
			held(t, path)
			if got, way, by := readAll(t, path, 64<<10); way != c.want || !bytes.Equal(got, noise(100000)) {
				t.Errorf("%s by %q, want %s", way, by, c.want)
			}
		})
	}
}

// On an overlay the pages are those of the file below, and are seen there.
func TestPastOverlay(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := mountAt(t, "-o", "loop", fixture.Image(t, 64<<20, "mkfs.ext4", "-q"))
	for _, dir := range []string{"lower", "upper", "work"} {
		fixture.Must(t, os.Mkdir(filepath.Join(base, dir), 0o755))
	}
	for _, name := range []string{"file", "held"} {
		fixture.Must(t, os.WriteFile(filepath.Join(base, "lower", name), noise(100000), 0o644))
	}
	fixture.Command(t, "/", "sync", "-f", base)
	dir := mountAt(t, "-t", "overlay", "-o", "lowerdir="+base+"/lower,upperdir="+base+"/upper,workdir="+base+"/work", "overlay")
	if _, err := os.ReadFile(filepath.Join(dir, "file")); err != nil {
		t.Fatal(err)
	}
	if got, way, by := readAll(t, filepath.Join(dir, "file"), 64<<10); way != Direct || !bytes.Equal(got, noise(100000)) {
		t.Errorf("%s by %q", way, by)
	}
	held(t, filepath.Join(dir, "held"))
	if _, way, by := readAll(t, filepath.Join(dir, "held"), 64<<10); way != Cached {
		t.Errorf("held in memory: %s by %q", way, by)
	}
}

// A file system in memory has nothing behind it that could hold anything else.
func TestPastMemory(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dir := mountAt(t, "-t", "tmpfs", "tmpfs")
	path := filepath.Join(dir, "file")
	fixture.Must(t, os.WriteFile(path, noise(100000), 0o644))
	if got, way, by := readAll(t, path, 64<<10); way != Direct || by == "" || !bytes.Equal(got, noise(100000)) {
		t.Errorf("%s by %q", way, by)
	}
	if m := MediumOf(dir); !m.Memory || m.Rotates != No || m.Seeks() {
		t.Errorf("%+v", m)
	}
	if id, err := DiskID(dir); err != nil || strings.HasPrefix(id, "fsid") {
		t.Errorf("%q, %v", id, err)
	}
}

// Where O_DIRECT is refused, at opening or only at reading, the file is dropped from memory and read
// from the disk then; and what reading brought into memory is gone in the end.
func TestPastRefused(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 32<<20, "mkfs.ext4", "-q")
	dir := mountAt(t, "-o", "loop", img)
	path := filepath.Join(dir, "file")
	content := noise(1 << 20)
	fixture.Must(t, os.WriteFile(path, content, 0o644)) // not flushed: it has to be, or it cannot be dropped
	r, err := OpenPastWith(func(flags int) (*os.File, error) {
		if flags&unix.O_DIRECT != 0 {
			return nil, &os.PathError{Op: "open", Path: path, Err: unix.EINVAL}
		}
		return os.OpenFile(path, flags, 0)
	})
	fixture.Must(t, err)
	if r.Way() != Evicted || r.By() != byAdvice {
		t.Errorf("refused at opening: %s by %q", r.Way(), r.By())
	}
	fixture.Flip(t, img, onDisk(t, img, path)+5000)
	b := Buffer(len(content))
	if n, err := r.ReadAt(b, 0); n != len(content) || err != nil || b[5000] != content[5000]^0xff {
		t.Errorf("read %d, %v; the disk was seen: %v", n, err, b[5000] != content[5000])
	}
	if in, err := inMemoryStill(r.File(), r.Size()); err != nil || !in {
		t.Errorf("reading brought nothing into memory (%v), so this test shows nothing", err)
	}
	fixture.Must(t, r.Close())
	f, err := os.Open(path)
	fixture.Must(t, err)
	defer f.Close()
	if in, err := inMemoryStill(f, r.Size()); err != nil || in {
		t.Errorf("after closing there is something in memory (%v)", err)
	}

	if r, err = OpenPast(path); err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if r.Way() != Direct {
		t.Fatalf("%s by %q", r.Way(), r.By())
	}
	// ext4 refuses what is not aligned to the blocks of the disk: each of several reads at once gets its bytes all the same.
	var reads sync.WaitGroup
	for i := range 8 {
		reads.Go(func() {
			b, at := make([]byte, 100), 7+1000*i
			if n, err := r.read(b, int64(at)); n != 100 || err != nil || r.Way() != Evicted || !bytes.Equal(b, content[at:at+100]) {
				t.Errorf("refused at reading: %d, %v, %s by %q", n, err, r.Way(), r.By())
			}
		})
	}
	reads.Wait()
}

// A file that is open already is taken out of memory, or said to be there still.
func TestEvict(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 32<<20, "mkfs.ext4", "-q")
	path := filepath.Join(mountAt(t, "-o", "loop", img), "file")
	content := noise(100_000)
	fixture.Must(t, os.WriteFile(path, content, 0o644))
	f, err := os.Open(path)
	fixture.Must(t, err)
	defer f.Close()
	if gone, err := dropped(f, int64(len(content))); !gone || err != nil {
		t.Errorf("not written yet: %v, %v", gone, err)
	}
	fixture.Flip(t, img, onDisk(t, img, path)+5000)
	got, err := io.ReadAll(f)
	fixture.Must(t, err)
	content[5000] ^= 0xff
	if !bytes.Equal(got, content) {
		t.Error("the next reading does not ask the disk")
	}
	held(t, path)
	if gone, err := dropped(f, int64(len(content))); gone || err != nil {
		t.Errorf("held in memory: %v, %v", gone, err)
	}
}

// mincore(2) and cachestat(2) agree.
func TestInMemoryStill(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	fixture.Must(t, os.WriteFile(path, noise(100000), 0o644))
	f, err := os.Open(path)
	fixture.Must(t, err)
	defer f.Close()
	for _, old := range []bool{false, true} {
		noCachestat.Store(old)
		if _, err := io.Copy(io.Discard, io.NewSectionReader(f, 0, 1<<30)); err != nil {
			t.Fatal(err)
		}
		if in, err := inMemoryStill(f, 100000); err != nil || !in {
			t.Errorf("after reading: %v, %v", in, err)
		}
		fixture.Must(t, f.Sync())
		if !dropCache(f) {
			t.Error("nothing was dropped")
		}
		if in, err := inMemoryStill(f, 100000); err != nil || in {
			t.Errorf("after dropping: %v, %v", in, err)
		}
	}
	noCachestat.Store(false)
}

// The date of the last reading of the person's own files stays.
func TestQuietRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	fixture.Must(t, os.WriteFile(path, noise(100000), 0o644))
	old := unix.NsecToTimespec(1_000_000_000e9)
	fixture.Must(t, unix.UtimesNanoAt(unix.AT_FDCWD, path, []unix.Timespec{old, old}, 0))
	readAll(t, path, 64<<10)
	var st unix.Stat_t
	fixture.Must(t, unix.Stat(path, &st))
	if st.Atim != old {
		t.Errorf("read at %v, want %v", st.Atim, old)
	}
}

// A program of FUSE that is mounted on a device reads that through a cache of its own: nobody can say that
// it was passed. New files and renames keep their promises on NTFS, which has second names, and on exFAT, which has none.
func TestFUSE(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	for name, c := range map[string]struct{ mkfs, mount []string }{
		"NTFS":  {[]string{"mkntfs", "-q", "-F", "-f"}, []string{"-t", "ntfs-3g"}},
		"exFAT": {[]string{"mkfs.exfat"}, []string{"-t", "exfat-fuse"}},
	} {
		t.Run(name, func(t *testing.T) {
			dir := mountAt(t, append(c.mount, fixture.Loop(t, fixture.Image(t, 32<<20, c.mkfs...)))...)
			path := filepath.Join(dir, "report.txt")
			fixture.Must(t, WriteNew(path, text("first")))
			if err := WriteNew(path, text("second")); !errors.Is(err, fs.ErrExist) {
				t.Errorf("a taken name: %v", err)
			}
			fixture.Must(t, os.WriteFile(filepath.Join(dir, "other"), []byte("other"), 0o644))
			if err := RenameNew(filepath.Join(dir, "other"), path); !errors.Is(err, fs.ErrExist) {
				t.Errorf("a rename to a taken name: %v", err)
			}
			fixture.Must(t, Replace(path, text("third")))
			fixture.Must(t, RenameNew(filepath.Join(dir, "other"), filepath.Join(dir, "new")))
			holds(t, dir, map[string]string{"report.txt": "third", "new": "other"})
			f, err := os.Open(path)
			fixture.Must(t, err)
			defer f.Close()
			if way, err := FlushAll(f); way != "" || err != nil {
				t.Errorf("flush: %q, %v", way, err)
			}
			if got, way, by := readAll(t, path, 64<<10); way != Cached || by != "" || string(got) != "third" {
				t.Errorf("%q, %s by %q", got, way, by)
			}
			if m := MediumOf(dir); m.Network != No || m.Disk == "" {
				t.Errorf("%+v", m)
			}
			d, err := os.Open(dir)
			fixture.Must(t, err)
			defer d.Close()
			if LastingNumbers(d) {
				t.Error("nobody knows whether its numbers last")
			}
		})
	}
}
