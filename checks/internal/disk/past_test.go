package disk

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"unsafe"

	"loadline/checks/internal/fixture"
)

// noise is content that no compression makes smaller, the same each time.
func noise(size int) []byte {
	b := make([]byte, size)
	_, _ = rand.NewChaCha8([32]byte{1}).Read(b) // never fails
	return b
}

func TestBuffer(t *testing.T) {
	for n, want := range map[int]int{1: 4096, 4096: 4096, 4097: 8192, 4 << 20: 4 << 20} {
		for range 20 {
			b := Buffer(n)
			if len(b) != want || cap(b) != want || uintptr(unsafe.Pointer(&b[0]))%Align != 0 {
				t.Fatalf("%d: length %d, capacity %d, address %p", n, len(b), cap(b), &b[0])
			}
		}
	}
}

// readAll reads a file in blocks of a size.
func readAll(t testing.TB, path string, block int) ([]byte, Way, string) {
	t.Helper()
	r, err := OpenPast(path)
	fixture.Must(t, err)
	defer func() { fixture.Must(t, r.Close()) }()
	var all []byte
	b := Buffer(block)
	for off := int64(0); ; off += int64(len(b)) {
		n, err := r.ReadAt(b, off)
		all = append(all, b[:n]...)
		if errors.Is(err, io.EOF) {
			if r.Size() != int64(len(all)) {
				t.Errorf("%s: size %d, read %d", path, r.Size(), len(all))
			}
			return all, r.Way(), r.By()
		}
		fixture.Must(t, err)
	}
}

// Files of every length around a block are read whole, in blocks of any size.
func TestReadPast(t *testing.T) {
	dir := t.TempDir()
	for _, size := range []int{0, 1, 511, 512, 513, 4095, 4096, 4097, 8192, 12345, 1 << 20, 1<<20 + 1} {
		content := noise(size)
		path := filepath.Join(dir, "file")
		fixture.Must(t, os.WriteFile(path, content, 0o644))
		for _, block := range []int{4096, 8192, 1 << 20, 4 << 20} {
			got, way, by := readAll(t, path, block)
			if !bytes.Equal(got, content) {
				t.Errorf("%d bytes in blocks of %d, %s by %q: read %d, not the same", size, block, way, by, len(got))
			}
		}
	}
}

func TestReadPastRefuses(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "file")
	fixture.Must(t, os.WriteFile(path, noise(10000), 0o644))
	r, err := OpenPast(path)
	fixture.Must(t, err)
	defer r.Close()
	b := Buffer(8192)
	for name, call := range map[string]func() (int, error){
		"offset": func() (int, error) { return r.ReadAt(b, 1) },
		"length": func() (int, error) { return r.ReadAt(b[:100], 0) },
		"memory": func() (int, error) { return r.ReadAt(b[1:4097], 0) },
		"before": func() (int, error) { return r.ReadAt(b, -4096) },
	} {
		if _, err := call(); !errors.Is(err, errUnaligned) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n, err := r.ReadAt(b, 12288); n != 0 || err != io.EOF {
		t.Errorf("behind the end: %d, %v", n, err)
	}
	if _, err := OpenPast(dir); !errors.Is(err, fs.ErrInvalid) {
		t.Errorf("a folder: %v", err)
	}
	if _, err := OpenPast(filepath.Join(dir, "no")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

// A file that shrinks or grows while it is read ends where it ends.
func TestReadPastChanging(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	fixture.Must(t, os.WriteFile(path, noise(20000), 0o644))
	r, err := OpenPast(path)
	fixture.Must(t, err)
	defer r.Close()
	fixture.Must(t, os.Truncate(path, 5000))
	b := Buffer(16384)
	if n, err := r.ReadAt(b, 0); n != 5000 || err != io.EOF || !bytes.Equal(b[:n], noise(20000)[:5000]) {
		t.Errorf("cut short: %d, %v", n, err)
	}
	fixture.Must(t, os.WriteFile(path, noise(40000), 0o644))
	if n, err := r.ReadAt(b, 16384); n != 16384 || err != nil {
		t.Errorf("longer: %d, %v", n, err)
	}
}

// However the windows fall, every byte of a file is asked about once.
func TestResident(t *testing.T) {
	for _, c := range []struct{ size, window, at int64 }{{0, 10, -1}, {1, 10, 0}, {10, 10, 9}, {11, 10, 10}, {95, 10, 94}, {95, 10, -1}} {
		var asked int64
		in, err := resident(c.size, c.window, func(off, length int64) (bool, error) {
			if off != asked {
				t.Errorf("%+v: asked at %d, want %d", c, off, asked)
			}
			asked += length
			return c.at >= off && c.at < off+length, nil
		})
		if err != nil || in != (c.at >= 0) || !in && asked != c.size {
			t.Errorf("%+v: %v, %v, asked about %d", c, in, err, asked)
		}
	}
}
