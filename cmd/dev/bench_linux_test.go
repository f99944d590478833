package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// The trees are counted by find (GNU findutils), so that the table speaks of what it says.
func TestArrange(t *testing.T) {
	count := func(tree string, args ...string) int {
		t.Helper()
		out, err := exec.Command("find", append([]string{tree}, append(args, "-printf", ".")...)...).Output()
		if err != nil {
			t.Fatal(err)
		}
		return len(out)
	}
	trees := &forest{root: t.TempDir()}
	for _, files := range []int{300, 725} {
		for _, s := range shapes {
			for _, flagged := range []int{0, 10} {
				if err := trees.arrange(t.Context(), s, files, flagged); err != nil {
					t.Fatal(err)
				}
				what := fmt.Sprintf("%d files, %s, every %d flagged", files, s.name, flagged)
				tree := trees.tree()
				if n := count(trees.root, "-type", "f"); n != files {
					t.Errorf("%s: %d files in all", what, n)
				}
				if n := count(tree, "-type", "f", "-size", "1000c", "-mtime", "+0"); n != files {
					t.Errorf("%s: %d files of 1,000 bytes and older than a day, want all", what, n)
				}
				if n := count(tree, "-mindepth", "20"); n != 0 {
					t.Errorf("%s: %d entries are deeper than 18 folders", what, n)
				}
				if n := count(tree, "-type", "d", "-empty"); n != 0 {
					t.Errorf("%s: %d empty folders", what, n)
				}
				odd := count(tree, "-type", "f", "-not", "-regex", `.*/t[0-9]+\.mov`)
				if want := min(flagged, 1) * (files + 9) / 10; odd != want {
					t.Errorf("%s: %d names are out of the ordinary, want %d", what, odd, want)
				}
			}
		}
	}
}

// Files that hold something hold it in turn.
func TestArrangeContent(t *testing.T) {
	trees := &forest{root: t.TempDir(), content: [][]byte{[]byte("one"), []byte("three")}}
	if err := trees.arrange(t.Context(), shapes[1], 5, 0); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("sh", "-c", `cd "$1" && cat $(find . -type f | sort)`, "sh", trees.tree()).Output()
	if err != nil || string(out) != "onethreeonethreeone" {
		t.Errorf("%s, %v", out, err)
	}
}

func TestArrangeIsInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	trees := &forest{root: t.TempDir()}
	if err := trees.arrange(ctx, shapes[0], 10, 0); err == nil {
		t.Error("no error")
	}
	if _, err := os.Stat(trees.tree()); err == nil {
		t.Error("it began all the same")
	}
}

func TestMeasure(t *testing.T) {
	sh := func(script string, may int) contender {
		return contender{"sh", func(tree string) []string { return []string{"sh", "-c", script, "sh", tree} }, may}
	}
	got, err := measure(t.Context(), sh(`test "$1" = tree`, 0), "tree")
	if err != nil {
		t.Fatal(err)
	}
	if got.wall <= 0 || got.peak < 100<<10 {
		t.Errorf("measured %v: no shell runs in that", got)
	}
	if _, err := measure(t.Context(), sh("exit 1", 1), ""); err != nil {
		t.Errorf("a status that may be: %v", err)
	}
	if _, err := measure(t.Context(), sh("echo why >&2; exit 2", 1), ""); err == nil || !strings.Contains(err.Error(), "why") {
		t.Errorf("a status that may not be gave %v", err)
	}
}

func TestMedian(t *testing.T) {
	var s []sample
	for _, d := range []time.Duration{5, 1, 9, 2, 3} {
		s = append(s, sample{wall: d})
	}
	if m := median(s, func(s sample) time.Duration { return s.wall }); m != 3 {
		t.Errorf("median of 1 2 3 5 9 is %d", m)
	}
}

func TestThousands(t *testing.T) {
	for n, want := range map[int]string{7: "7", 999: "999", 1000: "1,000", 300_000: "300,000", 1_000_000: "1,000,000"} {
		if got := thousands(n); got != want {
			t.Errorf("%d: %s, want %s", n, got, want)
		}
	}
}

// Two folders of footage are the same, as diff sees it, in files of equal size and none of them young; what the
// digests are computed over side by side is all of them, each once.
func TestFootage(t *testing.T) {
	source, share := t.TempDir(), t.TempDir()
	for _, dir := range []string{source, share} {
		if err := footage(t.Context(), dir, 400_000); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := exec.Command("diff", "-r", source, share).CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	find := exec.Command("find", source, "-type", "f", "-size", "10000c", "-mtime", "+1", "-printf", ".")
	if out, err := find.Output(); err != nil || len(out) != readFiles {
		t.Errorf("%d files, %v", len(out), err)
	}
	// One after the other here: two programs that write into one pipe mix their lines.
	inTurn := strings.NewReplacer(" & a=$!;", ";", " & b=$!; wait $a && wait $b", "")
	for name, tc := range map[string]struct {
		script  string
		sha, md int
	}{
		"sha256": {readScripts.sha256, readFiles, 0},
		"both":   {readScripts.both, 2 * readFiles, readFiles},
	} {
		out, err := exec.Command("sh", "-c", inTurn.Replace(tc.script), "sh", source, share).Output()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		seen := map[string]bool{}
		sha, md := 0, 0
		for l := range strings.Lines(string(out)) {
			if seen[l] {
				t.Errorf("%s: %q twice", name, l)
			}
			seen[l] = true
			if strings.Contains(l, "256(") {
				sha++
			}
			if strings.HasPrefix(l, "MD5(") {
				md++
			}
		}
		if sha != tc.sha || md != tc.md {
			t.Errorf("%s: %d and %d digests, want %d and %d", name, sha, md, tc.sha, tc.md)
		}
	}
}
