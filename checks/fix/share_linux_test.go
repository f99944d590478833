package fix

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
)

// travel is a source with names that some file system refuses, changes or takes for others.
var travel = []string{
	"good.mov", "day 1/also good.mov", "é.mov", "字.mov",
	"a:b.mov", "a:b.xml", "what?.mov", "say \"hi\".mov", "a|b", "a<b>", "a*b", `a\b`, "tab\there", "bell\x07", "two\nlines",
	"dot.", "dot", "space ", "space", " lead", "con.mov", "NUL", "aux.xml/inside.mov", "de?p/inside.mov", "de?p/x:y/z.mov",
	"Wheel.tif", "wheel.tif", "e\u0301 1.mov", "\u00e9 1.mov", "caf\xe9.mov", "🎬.mov", "turn\u202e.mov", "-x", "._-x",
	"link.mov => good.mov", ".DS_Store", "half.part",
}

// shareKinds are file systems of other systems as a share, with the names that each must refuse or fold
// in travel for the test to mean anything.
var shareKinds = map[string]struct {
	make, mount []string
	bad         []string
}{
	// ntfs-3g(8), windows_names: no name that Windows does not allow.
	"ntfs": {
		[]string{"mkfs.ntfs", "-q", "-F"},
		[]string{"ntfs-3g", "-o", "windows_names"},
		[]string{"a:b.mov", "what?.mov", "dot.", "space ", "con.mov", "NUL", "tab\there", `a\b`},
	},
	// The exFAT specification, table of invalid file name characters (from memory); names differ by case only.
	"exfat": {
		[]string{"mkfs.exfat"},
		[]string{"mount.exfat-fuse"},
		[]string{"a:b.mov", "what?.mov", "tab\there", `a\b`, "Wheel.tif", "wheel.tif"},
	},
}

// TestSharesRefuse plans for real shares, and lets them have the last word.
func TestSharesRefuse(t *testing.T) {
	for kind, with := range shareKinds {
		t.Run(kind, func(t *testing.T) { planFor(t, newDisk(t, 64, with.make, with.mount).path, with.bad) })
	}
}

// planFor copies what is on the copy list to the share, and looks whether each name came back as it was;
// then all the rest, once the plan is applied. The share refuses or folds bad.
func planFor(t *testing.T, at string, bad []string) {
	source := t.TempDir()
	plant(t, source, travel...)
	job := checks.Job{Source: source, Share: at, Prefix: "2026/travel", NamesOnly: true}
	plan := planFrom(t, examine(t, job), Wishes{})
	if plan.Unsure != "" {
		t.Fatal(plan.Unsure)
	}
	copied, skipped := listsOf(t, plan)
	for _, path := range bad {
		if !slices.Contains(skipped, path) {
			t.Errorf("%q is not on the skip list", path)
		}
	}
	arrives(t, source, filepath.Join(at, "before"), copied)
	for _, path := range copied {
		if strings.Contains(path, "?") || strings.Contains(path, ":") {
			t.Errorf("%q is on the copy list", path)
		}
	}
	mustApply(t, plan)
	plan = planFrom(t, examine(t, job), Wishes{})
	if len(plan.Steps) > 0 {
		t.Errorf("a second plan has the steps %q", steps(plan))
	}
	copied, skipped = listsOf(t, plan)
	skipped = slices.DeleteFunc(skipped, Ours)
	same(t, "still skipped", skipped, []string{".DS_Store", "half.part", "link.mov"})
	arrives(t, source, filepath.Join(at, "after"), copied)
}

// arrives copies files and compares the tree that came of it with what was asked: a share that refuses,
// changes or folds a name fails it.
func arrives(t *testing.T, source, to string, paths []string) {
	t.Helper()
	want := map[string]string{}
	for _, path := range paths {
		content, err := os.ReadFile(filepath.Join(source, path))
		must(t, err, os.MkdirAll(filepath.Dir(filepath.Join(to, path)), 0o755))
		f, err := os.OpenFile(filepath.Join(to, path), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
		if err != nil {
			t.Errorf("the share does not take %q: %v", path, err)
			continue
		}
		_, err = f.Write(content)
		must(t, err, f.Close())
		want[path] = string(content)
	}
	got := map[string]string{}
	must(t, filepath.WalkDir(to, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		got[strings.TrimPrefix(path, to+"/")] = string(content)
		return err
	}))
	same(t, "on the share", got, want)
}

// TestShareUnknown: an unmounted share is said to be unknown, and names nothing.
func TestShareUnknown(t *testing.T) {
	source := t.TempDir()
	plant(t, source, "a:b.mov", "fine.mov")
	d := newDisk(t, 24, diskKinds["exfat"].make, diskKinds["exfat"].mount)
	job := checks.Job{Source: source, Share: d.path, NamesOnly: true, NoTrial: true}
	if p := planFrom(t, examine(t, job), Wishes{}); !strings.Contains(p.Unsure, "-no-trial") {
		t.Errorf("without a trial: %q", p.Unsure)
	}
	job.NoTrial = false
	d.unplug()
	p := planFrom(t, examine(t, job), Wishes{})
	if !strings.Contains(p.Unsure, "mounted") {
		t.Errorf("unmounted: %q", p.Unsure)
	}
	same(t, "steps", steps(p), []string{`"a:b.mov" -> "a-b.mov" reserved-character`})
	if left, err := os.ReadDir(d.path); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
