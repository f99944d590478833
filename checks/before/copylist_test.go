//go:build linux

package before

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"loadline/checks"
	"loadline/checks/share"
)

// TestCopyListAndHalfACopy guards what is taken off for files that are on the share already: only those
// that the copy list names, or a copy that does not fit would seem to. The oracle is arithmetic on
// files of 4,096 bytes each, the unit where nothing was measured.
func TestCopyListAndHalfACopy(t *testing.T) {
	root, dest := realTemp(t), realTemp(t)
	for _, p := range []string{"one/a", "one/b", "two/c", "two/d"} {
		for _, top := range []string{root, dest} {
			if top == dest && p == "two/d" {
				continue
			}
			file := filepath.Join(top, filepath.FromSlash(p))
			if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, make([]byte, 4096), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []struct {
		list          string
		need, already int64
		left          int64 // of 10 times 4,096 bytes
	}{
		{"", 4 * 4096, 3 * 4096, 9 * 4096},
		{"two/d\n", 4096, 0, 9 * 4096},
		{"one/a\ntwo/d\n", 2 * 4096, 4096, 9 * 4096},
		{"one/a\none/b\n", 2 * 4096, 2 * 4096, 10 * 4096},
	} {
		job := checks.Job{
			Source: root, Share: dest, NoTrial: true,
			StandIn: &share.Facts{
				Path: dest, Network: true, Invented: "the share of a test",
				Space: share.Space{Free: 10 * 4096, Total: 20 * 4096, FreeInodes: 100, TotalInodes: 100},
			},
		}
		if c.list != "" {
			list, err := checks.ReadCopyList(strings.NewReader(c.list))
			if err != nil {
				t.Fatal(err)
			}
			job.CopyList = list
		}
		facts := map[string]any{"already_bytes": int64(0)}
		for _, f := range examine(t, job).Result(freeSpace.ID).Facts {
			facts[f.Key] = f.Value
		}
		if facts["need_bytes"] != c.need || facts["already_bytes"] != c.already || facts["left_bytes"] != c.left {
			t.Errorf("list %q: needed %v, there %v, left %v; want %d, %d, %d", c.list,
				facts["need_bytes"], facts["already_bytes"], facts["left_bytes"], c.need, c.already, c.left)
		}
	}
}

// TestLeftOffList: what is not on the list does no harm to the copy, so it is a note; but that it stays
// behind is told. What is on the list counts as ever.
func TestLeftOffList(t *testing.T) {
	root := realTemp(t)
	grow(t, root, "a:b.mov 5", "sub/c:d.mov 7", "clean.mov 9", "link => gone", "card/e:f.jpg 11", "card/ok.jpg 1", "trailing./x 1")
	levels := func(list string) (found []string, rep *checks.Report) {
		job := checks.Job{Source: root}
		if list != "" {
			var err error
			if job.CopyList, err = checks.ReadCopyList(strings.NewReader(list)); err != nil {
				t.Fatal(err)
			}
		}
		rep = examine(t, job)
		for _, f := range rep.Findings() {
			switch f.Rule.ID {
			case "reserved-character", "link-dangling", "trailing-dot-or-space", "left-off-list":
				found = append(found, f.Level.String()+" "+f.Rule.ID+" "+f.Path+" "+f.Detail)
			}
		}
		slices.Sort(found)
		return found, rep
	}
	got, rep := levels("")
	want := []string{
		"fail link-dangling link points to gone: no such file or directory",
		"warn reserved-character a:b.mov holds : (U+003A)", "warn reserved-character card/e:f.jpg holds : (U+003A)",
		"warn reserved-character sub/c:d.mov holds : (U+003A)", "warn trailing-dot-or-space trailing. ends in a dot",
	}
	if d := cmp.Diff(want, got); d != "" || rep.Verdict != checks.Failed {
		t.Errorf("without a list: %v, verdict %v", d, rep.Verdict)
	}
	got, rep = levels("clean.mov\nsub/c:d.mov\ncard/ok.jpg\ntrailing./x\n")
	want = []string{
		"note link-dangling link points to gone: no such file or directory",
		"note reserved-character a:b.mov holds : (U+003A)", "note reserved-character card/e:f.jpg holds : (U+003A)",
		"warn left-off-list  2 files, 16 B", "warn reserved-character sub/c:d.mov holds : (U+003A)",
		"warn trailing-dot-or-space trailing. ends in a dot",
	}
	if d := cmp.Diff(want, got); d != "" || rep.Verdict != checks.Warned {
		t.Errorf("with a list: %v, verdict %v", d, rep.Verdict)
	}
}
