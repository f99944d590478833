package checks

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Texts are quoted as the standard library quotes them, with what a screen would not show escaped.
func TestQuoted(t *testing.T) {
	characters := []rune{0, '\b', '\t', '\n', '\f', '\r', 0x1B, ' ', '"', '&', '/', '<', 'a', '\\', 0x7F, 0x85, 0xA0, 'é', 0x0301, 0x202E, 0x2028, 0xFEFF, 0xFFFD, 0xFFFF, 0x1F3A5, 0xE0001}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.StringOf(rapid.SampledFrom(characters)), rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(t, "text")
		var want bytes.Buffer
		e := json.NewEncoder(&want)
		e.SetEscapeHTML(false)
		if err := e.Encode(text); err != nil {
			t.Fatal(err)
		}
		if got := appendQuoted([]byte("x"), text); string(got) != "x"+string(shown(bytes.TrimSuffix(want.Bytes(), []byte("\n")))) {
			t.Fatalf("%s, want %s", got, want.Bytes())
		}
	})
}

// However many findings there are, the document holds them all, in their order.
func TestManyFindings(t *testing.T) {
	rule := &Rule{ID: "r", Fix: "Mend it."}
	for _, n := range []int{0, 1, 2, findingBlock, 7*findingBlock + 5} {
		r := Result{Findings: make([]Finding, n)}
		for i := range r.Findings {
			r.Findings[i] = Finding{Path: fmt.Sprint(i), Rule: rule, Detail: strings.Repeat("d", i%300)}
		}
		var b bytes.Buffer
		if err := (&Report{Checks: []Result{r}}).WriteJSON(&b); err != nil {
			t.Fatal(err)
		}
		var got struct {
			Checks []struct {
				Findings []struct{ Path, Rule, Detail, Fix string }
			}
		}
		if err := json.Unmarshal(b.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		all := got.Checks[0].Findings
		if len(all) != n {
			t.Fatalf("%d findings, want %d", len(all), n)
		}
		for i, f := range all {
			if f.Path != fmt.Sprint(i) || f.Rule != "r" || len(f.Detail) != i%300 || f.Fix != rule.Fix {
				t.Fatalf("number %d: %+v", i, f)
			}
		}
	}
}

// A finding about a part of a file says where that begins and how long it is.
func TestFindingOfAPart(t *testing.T) {
	rule := &Rule{ID: "r", Fix: "Mend it."}
	r := Result{Findings: []Finding{{Path: "a", Rule: rule, Part: &Part{Offset: 0, Length: 4096}}, {Path: "b", Rule: rule}}}
	var b bytes.Buffer
	if err := (&Report{Checks: []Result{r}}).WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Checks []struct {
			Findings []struct{ Offset, Length *int64 }
		}
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	all := got.Checks[0].Findings
	if all[0].Offset == nil || *all[0].Offset != 0 || all[0].Length == nil || *all[0].Length != 4096 || all[1].Offset != nil || all[1].Length != nil {
		t.Errorf("%s", b.Bytes())
	}
}
