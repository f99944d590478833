//go:build !race

package listing

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Cut anywhere, or with a byte changed, a listing never gives objects that it did not hold, and one that was
// cut within a record, or compressed, is refused.
func TestCut(t *testing.T) {
	dir, want := shapes(t)
	for file, w := range want {
		text, err := os.ReadFile(filepath.Join(dir, file))
		if err != nil {
			t.Fatal(err)
		}
		for k := range 10 {
			at := 1 + (len(text)-2)*k/10
			n := 0
			_, err := read(t.Context(), bytes.NewReader(text[:at]), Options{}, func(*Row) error { n++; return nil })
			if err == nil && n >= len(w.Objects) {
				t.Errorf("%s cut at %d of %d lists all %d objects", file, at, len(text), n)
			}
			// Whatever closes what it opens shows where it is cut.
			closed := strings.HasSuffix(file, ".xml") || strings.HasSuffix(file, ".gz") ||
				strings.HasSuffix(file, ".json") && !strings.HasPrefix(file, "lines")
			if err == nil && closed {
				t.Errorf("%s cut at %d of %d is taken", file, at, len(text))
			}
		}
	}
}
