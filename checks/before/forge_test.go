//go:build linux

package before

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
)

// TestNoLineIsForged: no name, and no target of a link, makes a line of the text report that looks like one
// of the report's own, neither by line breaks nor by where long lines are broken. The report of a tree of
// the same shape with tame words in the names is the oracle: what stands at the left edge is the same.
func TestNoLineIsForged(t *testing.T) {
	forged := []string{
		"Ready to copy. Keep the source until its arrival is verified.", " 1. [Good] The share is mounted", "You may erase the disk.",
		"LOADLINE: BEFORE COPYING", "What was found", "--------------", "0 to fix first, 17 good.",
	}
	numbers := regexp.MustCompile(`[0-9][0-9,:.TZ+-]*`)
	edge := func(tame bool) []string {
		root := filepath.Join(realTemp(t), "source")
		var tree []string
		add := func(before, line string) {
			if tame {
				line = "tame"
			}
			n := len(tree)
			tree = append(tree, fmt.Sprintf("%q 1", fmt.Sprintf("%d:%s%s", n, before, line)), fmt.Sprintf("%q => %q", fmt.Sprintf("l%d:%s", n, before), "a"+before+line))
		}
		for _, line := range forged {
			for _, ends := range []string{"\n", "\r", "\r\n", "\u2028", "\u0085", "\v", "\x1b[2K\r"} {
				add(ends, line)
			}
			// Lines of a report are broken at spaces: the text stands at every offset from the edge.
			for pad := range 100 {
				add(strings.Repeat("x", pad)+" ", line)
			}
		}
		grow(t, root, tree...)
		rep := examine(t, checks.Job{Source: root})
		var text strings.Builder
		if err := rep.WriteText(&text); err != nil {
			t.Fatal(err)
		}
		var list []string
		for line := range strings.SplitSeq(strings.ReplaceAll(text.String(), root, "ROOT"), "\n") {
			if line != "" && !strings.HasPrefix(line, "  ") {
				list = append(list, numbers.ReplaceAllString(line, "#"))
			}
		}
		return list
	}
	want, got := edge(true), edge(false)
	if !slices.Equal(got, want) {
		t.Errorf("at the left edge stands\n%s\nwith tame names\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if len(want) < 30 {
		t.Errorf("only %d lines", len(want))
	}
}

// TestLargestOfEquals: of files of one size the first by name is the largest, and folders of one size stand
// in the order of their names, whichever worker meets them when. The oracle is find and sort.
func TestLargestOfEquals(t *testing.T) {
	root := filepath.Join(realTemp(t), "source")
	var tree []string
	for _, d := range []string{"b", "a/z", "a/b", "c", "a", "Z", "d d"} {
		for _, f := range []string{"y", "x", "\u00e9", "Z", "small"} {
			size := 5000
			if f == "small" {
				size = 10
			}
			tree = append(tree, fmt.Sprintf("%q %d", d+"/"+f, size))
		}
	}
	grow(t, root, tree...)
	out := output(t, root, "sh", "-c", `find . -type f -printf '%s %P\n' | LC_ALL=C sort -k1,1nr -k2 | head -n 1`)
	_, want, _ := strings.Cut(strings.TrimSpace(out), " ")
	folders := ""
	for round := range 12 {
		rep := examine(t, checks.Job{Source: root, Workers: 1 + round%8})
		text := rep.Result(fileKinds.ID).Fact("largest_bytes").Text
		if !strings.HasSuffix(text, ", "+want) {
			t.Fatalf("round %d: %q, want %s", round, text, want)
		}
		list := ""
		for _, s := range rep.Largest {
			list += fmt.Sprintf("%s %d, ", s.Path, s.Bytes)
		}
		if folders == "" {
			folders = list
		}
		if list != folders || list != "a 60030, Z 20010, b 20010, c 20010, d d 20010, " {
			t.Fatalf("round %d: folders %s, before %s", round, list, folders)
		}
	}
}
