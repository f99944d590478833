package disk

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/fixture"
)

// mountAt mounts something on a new folder until the test ends.
func mountAt(t testing.TB, args ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "mount")
	fixture.Mount(t, dir, args...)
	return dir
}

// held maps a whole file and reads it, so that its pages cannot be dropped until the test ends.
func held(t testing.TB, path string) {
	t.Helper()
	f, err := os.Open(path)
	fixture.Must(t, err)
	defer f.Close()
	info, err := f.Stat()
	fixture.Must(t, err)
	m, err := unix.Mmap(int(f.Fd()), 0, int(info.Size()), unix.PROT_READ, unix.MAP_SHARED|unix.MAP_POPULATE)
	fixture.Must(t, err)
	t.Cleanup(func() { _ = unix.Munmap(m) })
	_ = fmt.Sprint(m[0])
}
