package names

import (
	"slices"
	"testing"
)

// Which files go together: a clip and its sidecars (common practice, no source), and the companion that RFC
// 1740 gives a file.
func TestStem(t *testing.T) {
	beside := []string{"clip.mov", "clip.mov.xmp", "clip.wav", "._clip.mov", "a.b.mov", "a.c.mov", ".hidden", "plain"}
	for name, want := range map[string]string{
		"clip.mov": "clip", "clip.mov.xmp": "clip", "clip.wav": "clip", "._clip.mov": "clip", "._gone.mov": "._gone",
		"a.b.mov": "a.b", "a.c.mov": "a.c", ".hidden": ".hidden", "plain": "plain", "plain.txt": "plain", "": "",
	} {
		if got := Stem(name, func(n string) bool { return slices.Contains(beside, n) }); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}
