package share

import (
	"os"
	"path/filepath"
	"testing"
)

func TestTryOnALocalFolder(t *testing.T) {
	folder := t.TempDir()
	var last float64
	r, err := Try(t.Context(), folder, Wishes{Bytes: 8<<20 + 1000, Progress: func(done float64, doing string) {
		if done < last || done > 1 || doing == "" {
			t.Errorf("progress %v %q after %v", done, doing, last)
		}
		last = done
	}})
	t.Logf("%+v", r)
	if err != nil || len(r.Problems) > 0 {
		t.Fatalf("Try = %+v, %v", r, err)
	}
	left, err := os.ReadDir(folder)
	if err != nil || len(left) > 0 {
		t.Errorf("left in %s: %v %v", filepath.Base(folder), left, err)
	}
}
