//go:build linux

package checks

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks/share"
)

// TestCopyListAndHalfACopy guards what is taken off for files that lie on the share already: only those
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
		job := Job{
			Source: root, Share: dest, NoTrial: true,
			StandIn: &share.Facts{
				Path: dest, Network: true, Invented: "the share of a test",
				Space: share.Space{Free: 10 * 4096, Total: 20 * 4096, FreeInodes: 100, TotalInodes: 100},
			},
		}
		if c.list != "" {
			list, err := ReadCopyList(strings.NewReader(c.list))
			if err != nil {
				t.Fatal(err)
			}
			job.CopyList = list
		}
		facts := map[string]any{"already_bytes": int64(0)}
		for _, r := range examine(t, job).Checks {
			if r.Check == freeSpace {
				for _, f := range r.Facts {
					facts[f.Key] = f.Value
				}
			}
		}
		if facts["need_bytes"] != c.need || facts["already_bytes"] != c.already || facts["left_bytes"] != c.left {
			t.Errorf("list %q: needed %v, there %v, left %v; want %d, %d, %d", c.list,
				facts["need_bytes"], facts["already_bytes"], facts["left_bytes"], c.need, c.already, c.left)
		}
	}
}
