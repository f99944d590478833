package disk

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/fixture"
)

// A file is known by what stat(1) says of it, and each change of its content by its status change time,
// even where size and date are put back.
func TestState(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	fixture.Must(t, os.WriteFile(path, noise(1000), 0o644))
	s, err := Lstat(path)
	fixture.Must(t, err)
	want := fmt.Sprintf("%d %d %d %d.%09d %d.%09d", s.Device, s.Number, s.Size, s.Modified/1e9, s.Modified%1e9, s.Changed/1e9, s.Changed%1e9)
	if got := strings.TrimSpace(fixture.Command(t, "/", "stat", "-c", "%d %i %s %.9Y %.9Z", path)); got != want || !s.Known {
		t.Errorf("%+v, stat says %s, want %s", s, got, want)
	}
	f, err := os.Open(path)
	fixture.Must(t, err)
	defer f.Close()
	if open, err := Stat(f); err != nil || open != s {
		t.Errorf("open it is %+v, %v", open, err)
	}
	for { // until the clock of the file system has ticked
		fixture.Must(t, os.WriteFile(path, bytes.Repeat([]byte("x"), 1000), 0o644))
		fixture.Must(t, os.Chtimes(path, time.Time{}, time.Unix(0, s.Modified)))
		now, err := Lstat(path)
		fixture.Must(t, err)
		if now.Changed != s.Changed {
			s.Changed = now.Changed
			if now != s {
				t.Errorf("changed: %+v, want %+v", now, s)
			}
			break
		}
	}
	fixture.Must(t, os.Symlink("nowhere", path+"-link"))
	if _, err := Lstat(path + "-link"); err != nil {
		t.Errorf("a link itself: %v", err)
	}
}

// A disk is known again by the UUID that blkid(8) tells, on another device and another folder; two
// subvolumes are two.
func TestDiskID(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	ids := map[string]string{}
	for name, c := range map[string]struct {
		size int64
		mkfs []string
	}{
		"ext4":  {32, []string{"mkfs.ext4", "-q"}},
		"xfs":   {320, []string{"mkfs.xfs", "-q"}},
		"btrfs": {120, []string{"mkfs.btrfs", "-q"}},
		"twin":  {32, []string{"mkfs.ext4", "-q"}},
	} {
		img := fixture.Image(t, c.size<<20, c.mkfs...)
		dir := mountAt(t, "-o", "loop", img)
		fixture.Must(t, os.Mkdir(filepath.Join(dir, "sub"), 0o755))
		id, err := DiskID(dir)
		fixture.Must(t, err)
		uuid := strings.TrimSpace(fixture.Command(t, "/", "blkid", "-p", "-s", "UUID", "-o", "value", img))
		if !strings.HasPrefix(id, "uuid:"+uuid) || name != "btrfs" && id != "uuid:"+uuid {
			t.Errorf("%s: %q, blkid says %q", name, id, uuid)
		}
		if sub, err := DiskID(filepath.Join(dir, "sub")); err != nil || sub != id {
			t.Errorf("%s: a folder of it: %q, %v", name, sub, err)
		}
		for before, of := range ids {
			if before == id {
				t.Errorf("%s and %s are one", of, name)
			}
		}
		ids[id] = name
		if name == "btrfs" {
			fixture.Command(t, "/", "btrfs", "subvolume", "create", filepath.Join(dir, "volume"))
			if part, err := DiskID(filepath.Join(dir, "volume")); err != nil || part == id || !strings.HasPrefix(part, "uuid:"+uuid) {
				t.Errorf("a subvolume: %q, the volume %q, %v", part, id, err)
			}
		}
		fixture.Must(t, unix.Unmount(dir, 0))
		fixture.Loop(t, fixture.Image(t, 1<<20, "true")) // takes the device that was free
		again := mountAt(t, "-o", "loop", img)
		if now, err := DiskID(again); err != nil || now != id {
			t.Errorf("%s mounted again: %q, was %q, %v", name, now, id, err)
		}
	}
}

// By the links that udev makes, where the kernel does not tell.
func TestUUIDByLink(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dev := fixture.Loop(t, fixture.Image(t, 32<<20, "mkfs.ext4", "-q"))
	dir := mountAt(t, dev)
	links := t.TempDir()
	fixture.Must(t, os.Symlink("/dev/null", filepath.Join(links, "AAAA-AAAA")))
	fixture.Must(t, os.Symlink(dev+"gone", filepath.Join(links, "BBBB-BBBB")))
	fd, err := openPlain(dir)
	fixture.Must(t, err)
	defer unix.Close(fd)
	if id := uuidByLink(fd, links); id != "" {
		t.Errorf("without a link of its own: %q", id)
	}
	fixture.Must(t, os.Symlink(dev, filepath.Join(links, "1234-ABCD")))
	if id := uuidByLink(fd, links); id != "1234-ABCD" {
		t.Errorf("got %q", id)
	}
}

func TestLastingNumbers(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	f, err := os.Open(mountAt(t, "-o", "loop", fixture.Image(t, 32<<20, "mkfs.ext4", "-q")))
	fixture.Must(t, err)
	defer f.Close()
	if !LastingNumbers(f) {
		t.Error("ext4 has lasting numbers")
	}
	base := t.TempDir()
	for _, dir := range []string{"lower", "upper", "work"} {
		fixture.Must(t, os.Mkdir(filepath.Join(base, dir), 0o755))
	}
	o, err := os.Open(mountAt(t, "-t", "overlay", "-o", "lowerdir="+base+"/lower,upperdir="+base+"/upper,workdir="+base+"/work", "overlay"))
	fixture.Must(t, err)
	defer o.Close()
	if LastingNumbers(o) {
		t.Error("an overlay has none")
	}
}

// A file is where its content stands in the image.
func TestOffset(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 32<<20, "mkfs.ext4", "-q", "-O", "inline_data", "-I", "256")
	dir := mountAt(t, "-o", "loop", img)
	path := filepath.Join(dir, "file")
	fixture.Must(t, os.WriteFile(path, noise(300000), 0o644))
	fixture.Must(t, os.WriteFile(filepath.Join(dir, "tiny"), []byte("tiny"), 0o644))
	fixture.Must(t, os.WriteFile(filepath.Join(dir, "empty"), nil, 0o644))
	fixture.Command(t, "/", "sync", "-f", dir)
	at, ok, err := Place(path)
	if want := fixture.FindIn(t, img, noise(300000)[:4096]); err != nil || !ok || at != want {
		t.Errorf("at %d, %v, %v; its content is at %d", at, ok, err, want)
	}
	for _, name := range []string{"tiny", "empty"} {
		if at, ok, err := Place(filepath.Join(dir, name)); ok || err != nil {
			t.Errorf("%s: at %d, %v", name, at, err)
		}
	}
	if _, _, err := Place(dir); err == nil {
		t.Error("a folder has a place")
	}
}

func TestFlush(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dir := mountAt(t, "-o", "loop", fixture.Image(t, 32<<20, "mkfs.ext4", "-q"))
	f, err := os.Create(filepath.Join(dir, "file"))
	fixture.Must(t, err)
	defer f.Close()
	fixture.Must(t, Flush(f))
	fixture.Must(t, FlushFolder(dir))
	d, err := os.Open(dir)
	fixture.Must(t, err)
	defer d.Close()
	if way, err := FlushAll(d); way != "syncfs(2)" || err != nil {
		t.Errorf("%q, %v", way, err)
	}
	fixture.Must(t, RenameNewAt(d, "file", "new"))
	fixture.Must(t, os.WriteFile(filepath.Join(dir, "old"), nil, 0o644))
	if err := RenameNewAt(d, "new", "old"); !os.IsExist(err) {
		t.Errorf("a taken name: %v", err)
	}
	fixture.Must(t, RenameOverAt(d, "new", "old"))
	fixture.Must(t, os.Mkdir(filepath.Join(dir, "a"), 0o755))
	fixture.Must(t, os.Mkdir(filepath.Join(dir, "b"), 0o755))
	fixture.Must(t, RenameOverAt(d, "a", "b")) // the place of an empty folder
}

// What runs full on the way leaves nothing behind.
func TestWriteNewFull(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dir := mountAt(t, "-t", "tmpfs", "-o", "size=64k", "tmpfs")
	for _, write := range []func(string) error{
		func(path string) error { return WriteNew(path, text(string(noise(1<<20)))) },
		func(path string) error { return Replace(path, text(string(noise(1<<20)))) },
	} {
		if err := write(filepath.Join(dir, "big")); err == nil {
			t.Error("1 MiB fits on 64 KiB")
		}
		holds(t, dir, map[string]string{})
	}
}

// A new file has the permissions of any that a program makes; a replaced one keeps its own.
func TestPermissions(t *testing.T) {
	old := unix.Umask(0o027)
	defer unix.Umask(old)
	dir := t.TempDir()
	path := filepath.Join(dir, "file")
	mode := func() os.FileMode {
		info, err := os.Stat(path)
		fixture.Must(t, err)
		return info.Mode()
	}
	fixture.Must(t, WriteNew(path, text("x")))
	if got := mode(); got != 0o640 {
		t.Errorf("new: %o", got)
	}
	fixture.Must(t, os.Chmod(path, 0o604))
	fixture.Must(t, os.Symlink("file", filepath.Join(dir, "link")))
	fixture.Must(t, Replace(filepath.Join(dir, "link"), text("y")))
	if got := mode(); got != 0o604 {
		t.Errorf("replaced: %o", got)
	}
	if to, err := os.Readlink(filepath.Join(dir, "link")); to != "file" || err != nil {
		t.Errorf("the link leads to %q, %v", to, err)
	}
}
