package share

import (
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The kernel's own table, read as findmnt of util-linux reads it. Others may mount meanwhile: what
// counts is a moment when the table was the same before and after.
func TestMountsAgainstFindmnt(t *testing.T) {
	ours := func() []string {
		list, err := Mounts(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, m := range list {
			if !strings.ContainsAny(m.Point+m.Type, " \t\n\\") {
				out = append(out, m.Type+" "+m.Point)
			}
		}
		slices.Sort(out)
		return out
	}
	for range 50 {
		before := ours()
		text, err := exec.Command("findmnt", "--kernel", "--noheadings", "--raw", "-o", "FSTYPE,TARGET").Output()
		if err != nil {
			t.Fatalf("findmnt of util-linux: %v", err)
		}
		if after := ours(); !slices.Equal(before, after) {
			continue
		}
		var theirs []string
		for line := range strings.Lines(string(text)) {
			if line = strings.TrimSpace(line); !strings.Contains(line, `\x`) {
				theirs = append(theirs, line)
			}
		}
		slices.Sort(theirs)
		if d := cmp.Diff(theirs, before); d != "" {
			t.Error(d)
		}
		return
	}
	t.Error("the mount table never stood still")
}
