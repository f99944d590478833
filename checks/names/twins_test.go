package names

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
)

// found is one report, by names.
type found struct {
	Kind    TwinKind
	Members []string
}

func find(t *Twins, names []string) []found {
	var all []found
	t.Find(len(names), func(i int) string { return names[i] }, func(i int) Traits { return Look(names[i]) },
		func(kind TwinKind, members []int) { all = append(all, named(names, kind, members)) })
	return all
}

func named(names []string, kind TwinKind, members []int) found {
	f := found{Kind: kind}
	for _, i := range members {
		f.Members = append(f.Members, names[i])
	}
	return f
}

// slowFind compares every name with every other, as the rulebook says it.
func slowFind(names []string) []found {
	valid := slices.DeleteFunc(slices.Clone(names), func(s string) bool { return !validByGrammar(s) })
	slices.Sort(valid)
	form, fold := make([]string, len(valid)), make([]string, len(valid))
	for i, s := range valid {
		form[i], fold[i] = slowNFC(s), slowFold(s)
	}
	var all []found
	for i := range valid {
		inForm, inFold := found{SameForm, nil}, found{SameCase, nil}
		firstForm, firstFold, otherForm := true, true, false
		for j := range valid {
			if form[i] == form[j] {
				firstForm = firstForm && j >= i
				inForm.Members = append(inForm.Members, valid[j])
			}
			if fold[i] == fold[j] {
				firstFold = firstFold && j >= i
				otherForm = otherForm || form[i] != form[j]
				inFold.Members = append(inFold.Members, valid[j])
			}
		}
		if firstForm && len(inForm.Members) > 1 {
			all = append(all, inForm)
		}
		if firstFold && otherForm {
			all = append(all, inFold)
		}
	}
	slices.SortStableFunc(all, func(a, b found) int {
		return cmp.Or(cmp.Compare(a.Members[0], b.Members[0]), cmp.Compare(a.Kind, b.Kind))
	})
	return all
}

func TestTwins(t *testing.T) {
	var finder Twins
	for _, c := range []struct {
		names string // with spaces between
		want  []found
	}{
		{"", nil},
		{"a", nil},
		{"a b c A1 a2", nil},
		{"a A", []found{{SameCase, []string{"A", "a"}}}},
		{"\u00e9 e\u0301 f", []found{{SameForm, []string{"e\u0301", "\u00e9"}}}},
		{"\u00e9 e\u0301 \u00c9", []found{
			{SameForm, []string{"e\u0301", "\u00e9"}},
			{SameCase, []string{"e\u0301", "\u00c9", "\u00e9"}},
		}},
		{"STRASSE straße Strasse strase", []found{{SameCase, []string{"STRASSE", "Strasse", "straße"}}}},
		{"\u212a k", []found{{SameCase, []string{"k", "\u212a"}}}},
		{"K \u212a", []found{{SameForm, []string{"K", "\u212a"}}}}, // U+212A is K by UAX #15
		{"\ufb01 fi", []found{{SameCase, []string{"fi", "\ufb01"}}}},
		{"\u13a0 \uab70", []found{{SameCase, []string{"\u13a0", "\uab70"}}}}, // Cherokee
		{"\xff \xfe a\xff A\xff", nil},
		{"ΑΣ ας ασ", []found{{SameCase, []string{"ΑΣ", "ας", "ασ"}}}},
		{"I i \u0130 i\u0307 \u0131", []found{
			{SameCase, []string{"I", "i"}},
			{SameCase, []string{"i\u0307", "\u0130"}},
		}},
	} {
		names := strings.Fields(c.names)
		if diff := gocmp.Diff(c.want, find(&finder, names)); diff != "" {
			t.Errorf("%+q: (-want +got)\n%s", names, diff)
		}
		checkTwins(t, &finder, names)
	}
}

// checkTwins compares with the slow way, in several orders, and as if all hashes were equal.
func checkTwins(t testing.TB, finder *Twins, names []string) {
	t.Helper()
	want := slowFind(names)
	names = slices.Clone(names)
	for range 3 {
		if diff := gocmp.Diff(want, find(finder, names)); diff != "" {
			t.Fatalf("%+q: (-want +got)\n%s", names, diff)
		}
		slices.Reverse(names)
		if len(names) > 2 {
			names = append(names[1:], names[0])
		}
	}
	var all []uint64
	for i, s := range names {
		if !Look(s).Any(Invalid) {
			all = append(all, uint64(i))
		}
	}
	var got []found
	finder.compare(all, 1<<32-1, func(i int) string { return names[i] })
	finder.emit(func(kind TwinKind, members []int) { got = append(got, named(names, kind, members)) })
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Fatalf("one hash for all of %+q: (-want +got)\n%s", names, diff)
	}
}

// Random folders of names that are close to each other.
func TestTwinsAtRandom(t *testing.T) {
	var finder Twins
	random := rand.New(rand.NewPCG(1, 2))
	parts := []string{
		"a", "A", "é", "e\u0301", "É", "E\u0301", "k", "\u212a", "ß", "ss", "SS", "\u1e9e", "\u0345", "\u03b9", "\u0323", "\u0307",
		"\u1e69", "s", "\uac00", "\u1100\u1161", "\u11a8", "\xff", "\u13a0", "\uab70", "ﬁ", "FI", "Å", "\u212b", "\u1f80", "\u1f88",
	}
	for range 400 {
		names := map[string]bool{}
		for range random.IntN(24) {
			var s string
			for range 1 + random.IntN(3) {
				s += parts[random.IntN(len(parts))]
			}
			names[s] = true
		}
		var list []string
		for s := range names {
			list = append(list, s)
		}
		checkTwins(t, &finder, list)
	}
}

// A folder full of twins, in one group, is found whole, and its scratch does not stay.
func TestTwinsOfOneFold(t *testing.T) {
	const letters = 14
	names := make([]string, 1<<letters)
	for i := range names {
		s := []byte(strings.Repeat("a", letters))
		for j := range s {
			if i>>j&1 == 1 {
				s[j] = 'A'
			}
		}
		names[i] = string(s)
	}
	var finder Twins
	got := find(&finder, names)
	if len(got) != 1 || len(got[0].Members) != len(names) || !slices.IsSorted(got[0].Members) {
		t.Errorf("%d groups", len(got))
	}
	if cap(finder.near) > roomy || cap(finder.members) > roomy {
		t.Errorf("scratch for %d names stays", cap(finder.near))
	}
}

func TestTwinsNoAllocations(t *testing.T) {
	names := make([]string, 1000)
	for i := range names {
		names[i] = fmt.Sprintf("Clip %04d.MOV", i)
	}
	var finder Twins
	traits := make([]Traits, len(names))
	for i, s := range names {
		traits[i] = Look(s)
	}
	name, trait := func(i int) string { return names[i] }, func(i int) Traits { return traits[i] }
	report := func(TwinKind, []int) { t.Error("twins in a clean folder") }
	finder.Find(len(names), name, trait, report)
	if n := testing.AllocsPerRun(10, func() { finder.Find(len(names), name, trait, report) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
