package recheck

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
)

// A file whose pages cannot leave the memory is read through the cache, and that is said: mlock(2) holds them, and
// the file system is made to refuse O_DIRECT as some do (open(2), EINVAL).
func TestRecheckThroughCache(t *testing.T) {
	folder, file := archive(t, some...)
	var fs unix.Statfs_t
	fixture.Must(t, unix.Statfs(folder, &fs))
	if fs.Type == unix.TMPFS_MAGIC {
		t.Log("the temporary folder is in memory: there is no cache to pass, and nothing to say")
		return
	}
	f, err := os.Open(filepath.Join(folder, "a"))
	fixture.Must(t, err)
	defer f.Close()
	held, err := unix.Mmap(int(f.Fd()), 0, 12, unix.PROT_READ, unix.MAP_SHARED)
	fixture.Must(t, err)
	defer unix.Munmap(held)
	fixture.Must(t, unix.Mlock(held))
	rep, err := Run(t.Context(), file, folder, Options{open: func(path string) (*disk.Reader, error) {
		return disk.OpenPastWith(func(flags int) (*os.File, error) {
			if flags&unix.O_DIRECT != 0 {
				return nil, unix.EINVAL
			}
			return os.Open(path)
		})
	}}, nil)
	fixture.Must(t, err)
	if got := findings(rep); !slices.Contains(got, "copy-content note copy-through-cache ") || rep.Verdict != checks.Passed {
		t.Errorf("%v, %q", rep.Verdict, got)
	}
}
