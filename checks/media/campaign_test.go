//go:build clipsall

package media

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var clipsDir = flag.String("clips", "", "keep the corpus in this `folder` (default: one that is removed)")

func corpus(t *testing.T) string {
	if *clipsDir == "" {
		return t.TempDir()
	}
	dir, err := filepath.Abs(*clipsDir)
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

func judgeFile(file string) (Verdict, error) {
	f, err := os.Open(file)
	if err != nil {
		return Verdict{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return Verdict{}, err
	}
	return Judge(f, st.Size(), file)
}

func TestWhole(t *testing.T) {
	dir := corpus(t)
	var tally Tally
	for _, r := range recipes() {
		file, err := r.make(dir)
		if err != nil {
			t.Error(err)
			continue
		}
		v, err := judgeFile(file)
		if err != nil || v.Problem != "" || v.Kind == Other || v.Partly {
			t.Errorf("%s: %+v, %v", r.name, v, err)
		}
		tally.Add(v)
	}
	t.Logf("%d whole clips: %s", tally.Clips(), &tally)
}
