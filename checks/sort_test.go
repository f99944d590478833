package checks

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
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
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		if d := gocmp.Diff(want, sorted([][]Finding{all[:cut], nil, all[cut:]}), cmpopts.EquateEmpty()); d != "" {
			t.Fatal(d)
		}
	})
}

// So many that all cores sort.
func TestSortMany(t *testing.T) {
	before := runtime.GOMAXPROCS(5)
	defer runtime.GOMAXPROCS(before)
	random := rand.New(rand.NewPCG(1, 2))
	rules := []*Rule{{ID: "a"}, {ID: "b"}}
	for _, folders := range []int{1, 3, 10_000} {
		all := make([]Finding, 5*manyFindings+17)
		for i := range all {
			all[i] = Finding{Path: fmt.Sprintf("day%d/%d", random.IntN(folders), random.IntN(len(all))), Rule: rules[random.IntN(2)], Size: int64(i)}
		}
		got := sorted([][]Finding{all[:100], all[100:]})
		seen := map[int64]bool{}
		for i := range got {
			seen[got[i].Size] = true
			if i > 0 && (got[i-1].Path > got[i].Path || got[i-1].Path == got[i].Path && got[i-1].Rule.ID > got[i].Rule.ID) {
				t.Fatalf("%s %s before %s %s", got[i-1].Path, got[i-1].Rule.ID, got[i].Path, got[i].Rule.ID)
			}
		}
		if len(got) != len(all) || len(seen) != len(all) {
			t.Fatalf("%d findings, %d of them different, of %d", len(got), len(seen), len(all))
		}
	}
}
