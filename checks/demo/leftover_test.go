package demo

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// What a killed demo left behind goes with the next start. A demo that still runs stays, and so does
// everything that is only called like one.
func TestSweep(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	t.Setenv("TEMP", temp) // of Windows, GetTempPath
	t.Setenv("TMP", temp)
	runs, err := New()
	if err != nil {
		t.Fatal(err)
	}
	killed, err := New()
	if err != nil {
		t.Fatal(err)
	}
	if err := killed.marker.Close(); err != nil { // as the system does when a process ends
		t.Fatal(err)
	}
	own := func(name, marker string) {
		t.Helper()
		dir := filepath.Join(temp, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if marker == "" {
			return
		}
		if err := os.WriteFile(filepath.Join(dir, markerName), []byte(marker), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	own("loadline-demo-unmarked", "")
	own("loadline-demo-other", "a note of somebody’s own\n")
	own("loadline-demo-longer", markerText+"and more\n")
	own("another", markerText)
	if err := os.WriteFile(filepath.Join(temp, "loadline-demo-file"), []byte(markerText), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(temp, "another"), filepath.Join(temp, "loadline-demo-link")); err != nil {
		t.Fatal(err)
	}

	if err := Sweep(); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(temp)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	want := []string{"another", filepath.Base(runs.Folder), "loadline-demo-file", "loadline-demo-link", "loadline-demo-longer", "loadline-demo-other", "loadline-demo-unmarked"}
	slices.Sort(want)
	if !slices.Equal(names, want) {
		t.Errorf("left are %q, want %q", names, want)
	}
	if _, err := os.Stat(runs.Job.Source); err != nil {
		t.Error("a demo that still runs lost its archive:", err)
	}
	if err := runs.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(runs.Folder); !os.IsNotExist(err) {
		t.Error("a closed demo is still there:", err)
	}
}
