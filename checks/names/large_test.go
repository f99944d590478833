//go:build !race

package names

import (
	"fmt"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"golang.org/x/text/unicode/norm"
)

// NormalizationTest.txt of Unicode 15.0.0: all rows, the invariants that its head states for NFC and
// NFD, through the usual way and through the one for long runs of marks, and the slow second
// implementation of these tests as well.
func TestNormalizationTest(t *testing.T) {
	count := 0
	listed := map[rune]bool{}
	part := ""
	for _, row := range rows(t, "NormalizationTest.txt.gz") {
		if strings.HasPrefix(row[0], "@") {
			part = row[0]
			continue
		}
		count++
		var c [6]string
		for i := range 5 {
			c[i+1] = text(t, row[i])
		}
		if strings.HasPrefix(part, "@Part1") {
			listed[point(t, row[0])] = true
		}
		for want, from := range map[int][]int{2: {1, 2, 3}, 4: {4, 5}} {
			for _, i := range from {
				checkNFC(t, c[i], c[want])
			}
		}
		for want, from := range map[int][]int{3: {1, 2, 3}, 5: {4, 5}} {
			for _, i := range from {
				checkNFD(t, c[i], c[want])
			}
		}
	}
	if count < 19000 || len(listed) < 10000 {
		t.Errorf("only %d rows, %d characters in part 1", count, len(listed))
	}
	if norm.Version != "15.0.0" {
		return // a later version knows characters that these files do not
	}
	for r := rune(1); r <= 0x10FFFF; r++ {
		if listed[r] || r >= 0xD800 && r <= 0xDFFF {
			continue
		}
		if s := string(r); NFC(s) != s || string(appendNFD(nil, []byte(s))) != s {
			t.Errorf("U+%04X is not listed, but is not its own normal form", r)
		}
	}
}

// CaseFolding.txt of Unicode 15.0.0, rows C and F: the mapping itself, and Fold by D145. Every other
// character stays as it is.
func TestCaseFolding(t *testing.T) {
	mapping := foldings(t)
	for r := rune(1); r <= 0x10FFFF; r++ {
		if r >= 0xD800 && r <= 0xDFFF {
			continue
		}
		s := string(r)
		want, listed := mapping[r]
		if !listed {
			if want = s; norm.Version != "15.0.0" {
				continue // a later version folds characters that these files do not know
			}
		}
		if got := string(appendFolded(nil, []byte(s))); got != want {
			t.Errorf("U+%04X folds to %+q, want %+q", r, got, want)
		}
		if got, want := Fold(s), slowFold(s); got != want {
			t.Errorf("Fold(U+%04X) = %+q, want %+q", r, got, want)
		}
		if listed && Fold(s) != Fold(want) {
			t.Errorf("U+%04X and what it folds to are not equal under Fold", r)
		}
	}
}

// A folder of a million names with five twins in it: all found, 16 bytes of scratch a name at most.
func TestTwinsOfAMillion(t *testing.T) {
	const n = 1_000_000
	names := make([]string, n)
	for i := range names {
		names[i] = fmt.Sprintf("frame_%07d.dpx", i)
	}
	names[10], names[999_999] = "FRAME_0000500.DPX", "Frame_0000500.dpx"
	names[77], names[500_000] = "\u00e9", "e\u0301"
	var finder Twins
	want := []found{
		{SameCase, []string{"FRAME_0000500.DPX", "Frame_0000500.dpx", "frame_0000500.dpx"}},
		{SameForm, []string{"e\u0301", "\u00e9"}},
	}
	if diff := gocmp.Diff(want, find(&finder, names)); diff != "" {
		t.Error(diff)
	}
	if bytes := 8 * cap(finder.keys); bytes > 16*n {
		t.Errorf("%d bytes of scratch for %d names", bytes, n)
	}
}
