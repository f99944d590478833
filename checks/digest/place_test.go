package digest

import (
	"path/filepath"
	"testing"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
	"loadline/checks/walk"
)

// A file is known by the same whether a walk has met it, whether that told its number or not (on Windows it does
// not), or whether it was looked at by itself, as a reading does. Another state of it is another.
func TestIdentOfAWalk(t *testing.T) {
	dir := t.TempDir()
	fixture.WriteFile(t, filepath.Join(dir, "day", "clip.mov"), "frames")
	places, err := At(t.Context(), dir, time.Minute)
	fixture.Must(t, err)
	ident := func() Ident {
		t.Helper()
		s, err := disk.Lstat(filepath.Join(dir, "day", "clip.mov"))
		fixture.Must(t, err)
		want, met := places.IdentOf("day/clip.mov", &s), 0
		fixture.Must(t, walk.Walk(t.Context(), dir, walk.Options{Visit: func(d *walk.Dir) {
			for i := range d.Entries {
				if e := d.Entries[i]; e.Kind == walk.File {
					met++
					told := places.IdentIn(d, &e)
					e.Inode, e.Stamp = 0, 0
					if asked := places.IdentIn(d, &e); told != want || asked != want || want == 0 {
						t.Errorf("%x by the walk, %x without a number, %x by itself", told, asked, want)
					}
				}
			}
		}}))
		if met != 1 {
			t.Errorf("%d files met", met)
		}
		return want
	}
	first := ident()
	fixture.WriteFile(t, filepath.Join(dir, "day", "clip.mov"), "other frames")
	if second := ident(); second == first {
		t.Error("another content, and the same ident")
	}
}
