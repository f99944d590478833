package checks_test

import (
	"testing"

	"loadline/checks"
)

// The plurals are those of an English dictionary.
func TestPlural(t *testing.T) {
	for _, c := range []struct {
		n    int64
		noun string
		want string
	}{
		{0, "file", "0 files"},
		{1, "file", "1 file"},
		{1204, "entry", "1,204 entries"},
		{2, "key", "2 keys"},
		{2, "box", "2 boxes"},
		{1, "file or folder", "1 file or folder"},
		{2, "file or folder", "2 files or folders"},
		{3, "copy or archive", "3 copies or archives"},
	} {
		if got := checks.Plural(c.n, c.noun); got != c.want {
			t.Errorf("Plural(%d, %q) = %q, want %q", c.n, c.noun, got, c.want)
		}
	}
}
