package names

import "testing"

// TestBundleName: common practice, no source, as the table itself.
func TestBundleName(t *testing.T) {
	for name, want := range map[string]bool{
		"Travel.fcpbundle": true, "Travel.FCPBUNDLE": true, "a.b.imovielibrary": true, "Holiday.photoslibrary": true,
		"Editor.app": true, "x.bundle": true, "Song.band": true, "Song.logicx": true, "Notes.rtfd": true,
		"Disk.sparsebundle": true, " .app": true,
		"": false, "app": false, ".app": false, "Travel.fcpbundle.": false, "Travel.fcpbundle ": false,
		"Travel.fcpbundle.zip": false, "Day 1": false, "clip.mov": false, "x.": false, "x.\xff": false,
	} {
		if got := BundleName(name); got != want {
			t.Errorf("BundleName(%q) = %v", name, got)
		}
	}
}
