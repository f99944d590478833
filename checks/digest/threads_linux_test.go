package digest

import (
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
)

// More threads run only where what is read has to be waited for: never for files in memory.
func TestThreadsByMedium(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	memory := t.TempDir()
	fixture.Must(t, unix.Mount("none", memory, "tmpfs", 0, ""))
	t.Cleanup(func() { fixture.Must(t, unix.Unmount(memory, 0)) })
	before := runtime.GOMAXPROCS(0)
	for _, dir := range []string{memory, t.TempDir()} {
		fixture.WriteFile(t, filepath.Join(dir, "clip"), "footage")
		want := 2 * before
		if m := disk.MediumOf(dir); m.Memory {
			want = before
		} else if dir == memory {
			t.Fatalf("a tmpfs is taken for %+v", m)
		}
		list, running := listOf(t, dir), 0
		r := readingOf(t, dir, "")
		fixture.Must(t, r.Run(t.Context(), list.All(), func(*Result) { running = runtime.GOMAXPROCS(0) }))
		if after := runtime.GOMAXPROCS(0); running != want || after != before {
			t.Errorf("%s: %d threads while it is read, want %d; %d afterwards, %d before", dir, running, want, after, before)
		}
	}
}
