package checks

import (
	"cmp"
	"slices"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// Findings stand in the order that the standard library's stable sort gives them.
func TestSortFindings(t *testing.T) {
	rules := []*Rule{{ID: "a"}, {ID: "b"}}
	rapid.Check(t, func(t *rapid.T) {
		path := rapid.Custom(func(t *rapid.T) string {
			return rapid.SampledFrom([]string{"", "day", "day/of/filming/", "day\x00"}).Draw(t, "folder") +
				rapid.StringOfN(rapid.RuneFrom([]rune{0, 'a', 'b', '/', '\u00ff'}), 0, 12, -1).Draw(t, "name")
		})
		all := rapid.SliceOf(rapid.Custom(func(t *rapid.T) Finding {
			return Finding{
				Path: path.Draw(t, "path"), Rule: rapid.SampledFrom(rules).Draw(t, "rule"),
				Source: rapid.IntRange(0, 1).Draw(t, "source"), Detail: rapid.SampledFrom([]string{"", "x"}).Draw(t, "detail"),
			}
		})).Draw(t, "findings")
		want := slices.Clone(all)
		slices.SortStableFunc(want, func(a, b Finding) int {
			return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.Rule.ID, b.Rule.ID), cmp.Compare(a.Source, b.Source), cmp.Compare(a.Detail, b.Detail))
		})
		sortFindings(all)
		if d := gocmp.Diff(want, all); d != "" {
			t.Fatal(d)
		}
	})
}
