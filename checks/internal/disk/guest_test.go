//go:build rig

package disk

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/fixture"
)

// Tests that run in the guest of testdata/nfsrig: TestInTheRig boots it.

// writes checks that new files and renames keep their promises in a folder.
func writes(t *testing.T, dir string) {
	t.Helper()
	path := filepath.Join(dir, "report.txt")
	fixture.Must(t, WriteNew(path, text("first")))
	if err := WriteNew(path, text("second")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a taken name: %v", err)
	}
	fixture.Must(t, Replace(path, text("third")))
	holds(t, dir, map[string]string{"report.txt": "third"})
	fixture.Must(t, os.Remove(path))
	for range 10 {
		var won atomic.Int64
		var all sync.WaitGroup
		for i := range 4 {
			all.Go(func() {
				switch err := WriteNew(path, text(fmt.Sprint(i))); {
				case err == nil:
					won.Add(1)
				case !errors.Is(err, fs.ErrExist):
					t.Error(err)
				}
			})
		}
		all.Wait()
		if list, err := os.ReadDir(dir); won.Load() != 1 || len(list) != 1 || err != nil {
			t.Errorf("%d won, %v is there, %v", won.Load(), list, err)
		}
		fixture.Must(t, os.Remove(path))
	}
	d, err := os.Open(dir)
	fixture.Must(t, err)
	defer d.Close()
	fixture.Must(t, FlushFolder(dir))
	if way, err := FlushAll(d); way != syncfs || err != nil {
		t.Errorf("flush: %q, %v", way, err)
	}
}

func TestGuestNFS(t *testing.T) {
	for _, share := range []string{"/mnt/v3", "/mnt/v42"} {
		t.Run(share, func(t *testing.T) {
			dir := filepath.Join(share, "of-"+filepath.Base(share))
			fixture.Must(t, os.Mkdir(dir, 0o755))
			writes(t, dir)
			if m := MediumOf(dir); m.Network != Yes || m.Seeks() {
				t.Errorf("%+v", m)
			}
			if id, err := DiskID(dir); id != "" || err != nil {
				t.Errorf("%q, %v", id, err)
			}
			d, err := os.Open(dir)
			fixture.Must(t, err)
			defer d.Close()
			fixture.Must(t, os.WriteFile(filepath.Join(dir, "a"), nil, 0o644))
			if err := RenameNewAt(d, "a", "b"); !errors.Is(err, errors.ErrUnsupported) {
				t.Errorf("NFS promises no such rename: %v", err)
			}
			fixture.Must(t, os.Remove(filepath.Join(dir, "a")))

			// The server's file is changed behind the back of the client, with size and date as they were.
			path := filepath.Join(dir, "file")
			content := noise(300_001)
			fixture.Must(t, os.WriteFile(path, content, 0o644))
			before, err := os.ReadFile(path)
			fixture.Must(t, err)
			behind := filepath.Join("/srv/rig/main", strings.TrimPrefix(path, share))
			info, err := os.Stat(behind)
			fixture.Must(t, err)
			fixture.Flip(t, behind, 5000)
			fixture.Must(t, os.Chtimes(behind, info.ModTime(), info.ModTime()))
			got, way, by := readAll(t, path, 64<<10)
			content[5000] ^= 0xff
			if !bytes.Equal(got, content) || bytes.Equal(got, before) || way != Direct || by != byDirect {
				t.Errorf("%s by %q, the server's: %v", way, by, bytes.Equal(got, content))
			}
		})
	}
}

func TestGuestFAT(t *testing.T) {
	fixture.Command(t, "/", "modprobe", "-a", "loop", "vfat", "nls_cp437", "nls_iso8859-1", "nls_utf8")
	img := fixture.Image(t, 40<<20, "mkfs.vfat")
	dir := mountAt(t, "-o", "loop,utf8", img)
	writes(t, dir)
	d, err := os.Open(dir)
	fixture.Must(t, err)
	defer d.Close()
	if LastingNumbers(d) {
		t.Error("FAT has lasting numbers")
	}
	path := filepath.Join(dir, "file")
	content := noise(300_001)
	fixture.Must(t, os.WriteFile(path, content, 0o644))
	fixture.Command(t, "/", "sync")
	if _, err := os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	fixture.Flip(t, img, fixture.FindIn(t, img, content[5000:5100]))
	got, way, _ := readAll(t, path, 64<<10)
	content[5000] ^= 0xff
	if !bytes.Equal(got, content) || way != Direct {
		t.Errorf("%s, the disk's: %v", way, bytes.Equal(got, content))
	}
	if _, ok, err := Place(path); ok || err != nil {
		t.Errorf("FAT tells a place: %v, %v", ok, err)
	}
}

// dm-dust fails the reading of blocks that it is told (kernel documentation, device-mapper/dm-dust).
func TestGuestBadSectors(t *testing.T) {
	fixture.Command(t, "/", "modprobe", "-a", "loop", "dm-mod", "dm-dust")
	img := fixture.Image(t, 32<<20, "mkfs.ext4", "-q")
	dev := fixture.Loop(t, img)
	sectors := strconv.Itoa(32 << 20 / 512)
	fixture.Command(t, "/", "dmsetup", "create", "dust", "--noudevsync", "--noudevrules", "--table", "0 "+sectors+" dust "+dev+" 0 4096")
	t.Cleanup(func() { fixture.Command(t, "/", "dmsetup", "remove", "--noudevsync", "--noudevrules", "dust") })
	dir := mountAt(t, "/dev/dm-0")
	t.Cleanup(func() { fixture.Must(t, unix.Unmount(dir, 0)) })
	path := filepath.Join(dir, "file")
	content := noise(300_001)
	fixture.Must(t, os.WriteFile(path, content, 0o644))
	fixture.Command(t, "/", "sync")
	at := onDisk(t, img, path)
	if at != fixture.FindIn(t, img, content[:4096]) {
		t.Errorf("at %d", at)
	}
	const bad = 20 // of the blocks of the file
	fixture.Command(t, "/", "dmsetup", "message", "dust", "0", "addbadblock", strconv.FormatInt(at/4096+bad, 10))
	fixture.Command(t, "/", "dmsetup", "message", "dust", "0", "enable")
	r, err := OpenPast(path)
	fixture.Must(t, err)
	defer r.Close()
	b := Buffer(4096)
	for block := range int64(300_001/4096 + 1) {
		n, err := r.ReadAt(b, block*4096)
		if block == bad {
			if !MediumError(err) || Gone(err) {
				t.Errorf("the bad block: %v", err)
			}
			continue
		}
		if err != nil && n == 4096 || !bytes.Equal(b[:n], content[block*4096:block*4096+int64(n)]) {
			t.Errorf("block %d: %d, %v", block, n, err)
		}
	}
	if m := MediumOf(dir); m.Volume != "dm-0" || m.Disk == "dm-0" {
		t.Errorf("%+v", m)
	}
}
