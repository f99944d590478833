//go:build darwin || windows

package disk

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"loadline/checks/internal/fixture"
)

// What only the system itself can prove. On Linux there is more, on disks made for it.

func TestSystemIdentity(t *testing.T) {
	dir := t.TempDir()
	a, b := filepath.Join(dir, "a"), filepath.Join(dir, "b")
	fixture.Must(t, os.WriteFile(a, noise(10_000), 0o644))
	fixture.Must(t, os.WriteFile(b, noise(10_000), 0o644))
	first, err := Lstat(a)
	fixture.Must(t, err)
	other, err := Lstat(b)
	fixture.Must(t, err)
	if !first.Known || first.Size != 10_000 || first.Number == other.Number || first.Device != other.Device || first.Changed == 0 {
		t.Errorf("%+v and %+v", first, other)
	}
	fixture.Must(t, os.Rename(a, filepath.Join(dir, "c")))
	f, err := os.Open(filepath.Join(dir, "c"))
	fixture.Must(t, err)
	defer f.Close()
	if now, err := Stat(f); err != nil || now.Number != first.Number || now.Modified != first.Modified || now.Device != first.Device {
		t.Errorf("under another name: %+v, %v", now, err)
	}
	id, err := DiskID(dir)
	if err != nil || id == "" {
		t.Errorf("the disk: %q, %v", id, err)
	}
	if again, err := DiskID(filepath.Dir(dir)); err != nil || again != id {
		t.Errorf("by another folder: %q, %v", again, err)
	}
	if m := MediumOf(dir); m.Network != No {
		t.Errorf("%+v", m)
	}
	if at, ok, err := Place(b); err != nil || ok && at < 0 {
		t.Errorf("at %d, %v, %v", at, ok, err)
	}
}

func TestSystemFlush(t *testing.T) {
	dir := t.TempDir()
	d, err := os.Open(dir)
	fixture.Must(t, err)
	defer d.Close()
	fixture.Must(t, Flush(d))
	fixture.Must(t, FlushFolder(dir))
	if _, err := FlushAll(d); err != nil {
		t.Error(err)
	}
	fixture.Must(t, os.WriteFile(filepath.Join(dir, "a"), []byte("a"), 0o644))
	fixture.Must(t, os.WriteFile(filepath.Join(dir, "b"), []byte("b"), 0o644))
	if err := RenameNewAt(d, "a", "b"); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a taken name: %v", err)
	}
	fixture.Must(t, RenameNewAt(d, "a", "c"))
	fixture.Must(t, RenameOverAt(d, "b", "c"))
	holds(t, dir, map[string]string{"c": "b"})
}

// Nothing of a file that was just written and read may be left in memory.
func TestSystemPast(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	content := noise(3 << 20)
	fixture.Must(t, os.WriteFile(path, content, 0o644))
	if _, err := os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	got, way, by := readAll(t, path, 1<<20)
	if !bytes.Equal(got, content) || way == Cached || by == "" {
		t.Errorf("%s by %q, whole: %v", way, by, bytes.Equal(got, content))
	}
}

func TestSystemAwake(t *testing.T) {
	release, means, err := Awake("Reading the whole disk")
	if err != nil || means == "" {
		t.Errorf("%q, %v", means, err)
	}
	release()
	release()
}
