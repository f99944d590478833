package gui

import (
	"crypto/sha256"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/manifest"
	"loadline/gui/kit"
)

// writeManifest writes a manifest of files with their contents, below a folder on the share, and returns its path.
func writeManifest(t *testing.T, prefix string, files map[string]string, order ...string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "copy.sha256")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	h := &manifest.Header{Made: time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC), Source: sampleSource, Prefix: prefix}
	for _, text := range files {
		h.Files++
		h.Bytes += int64(len(text))
	}
	err = manifest.Write(f, h, func(yield func(*manifest.File) bool) {
		for _, path := range order {
			m := manifest.File{Path: []byte(path), Size: int64(len(files[path]))}
			m.Sums.SHA256 = sha256.Sum256([]byte(files[path]))
			if !yield(&m) {
				return
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

// A listing without a header is read anew when the person names its columns; what matches the manifest is said
// before anything is compared, and the wishes reach the engine and the next start.
func TestListingUnderstood(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.setStage(checks.Arrival)
	v := r.view()
	m := writeManifest(t, "2026", map[string]string{"day 1/a.mov": "first", "day 2/b.mov": "second one"}, "day 1/a.mov", "day 2/b.mov")
	list := filepath.Join(t.TempDir(), "list.csv")
	if err := os.WriteFile(list, []byte("Name,Other,Bytes\n2026/day 1/a.mov,2026/x,5\n2026/day 2/b.mov,2026/y,10\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	v.setup.from.put(m)
	v.setup.to.put(list)
	how := v.setup.store.how
	says := func(what string, words ...string) {
		t.Helper()
		r.fire()
		r.until(what, func() bool {
			for _, x := range words {
				if !strings.Contains(how.Text, x) {
					return false
				}
			}
			return true
		})
	}
	says("how it is read", "commas", "2026/day 1/a.mov", "5 bytes", "2 are files of the manifest", "as they stand")
	v.setup.store.columns.SetText("key=Other,size=3")
	says("its other reading", "2026/x", "None of its first 2 objects")
	v.setup.store.columns.SetText("key=1,key=2")
	r.fire()
	r.until("what is wrong with the columns", func() bool { return v.setup.store.problem.Visible() && !how.Visible() })
	test.Tap(v.head.check)
	if r.running != "" || !v.setup.store.problem.Visible() {
		t.Fatal("columns that nobody understands start a run")
	}
	v.setup.store.columns.SetText("key=1,size=3")
	v.setup.store.disk.SetText(sampleSource)
	says("the right reading", "2 are files of the manifest")
	if v.setup.store.problem.Visible() {
		t.Error("the problem stays when it is put right")
	}
	test.Tap(v.head.check)
	c := r.began()
	if len(c.req.Columns) != 2 || c.req.Disk != sampleSource || c.req.State != r.desktop.StateDir {
		t.Errorf("the engine was asked for columns %v, disk %q, state %q", c.req.Columns, c.req.Disk, c.req.State)
	}
	r.halt()
	kept, err := loadChoices(r.desktop.StateDir)
	if err != nil || kept.Columns != "key=1,size=3" || string(kept.Disk) != sampleSource {
		t.Errorf("kept for the next start: %q, %q, %v", kept.Columns, kept.Disk, err)
	}
}
