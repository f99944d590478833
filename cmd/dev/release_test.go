package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A step is named by its name alone, whichever set it is in.
func TestStepNames(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range slices.Concat(steps, releaseSteps) {
		if seen[s.name] || s.name == "" || s.title == "" {
			t.Errorf("step %q, %q", s.name, s.title)
		}
		seen[s.name] = true
	}
	if len(releaseSteps) < 5 {
		t.Errorf("only %d steps look at what is released", len(releaseSteps))
	}
}

func TestSameSums(t *testing.T) {
	folder := func(text string) string {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "SHA256SUMS"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	one := folder("aa  a\nbb  b\n")
	for text, good := range map[string]bool{"aa  a\nbb  b\n": true, "bb  b\naa  a\n": true, "aa  a\ncc  b\n": false, "aa  a\n": false, "aa  a\nbb  b\ncc  c\n": false} {
		if err := sameSums(one, folder(text)); (err == nil) != good {
			t.Errorf("%q: %v", text, err)
		}
	}
	if err := sameSums(one, t.TempDir()); err == nil {
		t.Error("a folder without checksums was taken for the same")
	}
}

// The messages are those of govulncheck -format json, cut down.
func TestCalledVulnerabilities(t *testing.T) {
	const out = `{"config":{"protocol_version":"v1.0.0"}}
{"osv":{"id":"GO-2026-0001"}}
{"finding":{"osv":"GO-2026-0001","fixed_version":"v1.2.3","trace":[{"module":"m","version":"v1.2.2"}]}}
{"finding":{"osv":"GO-2026-0002","fixed_version":"v1.26.9","trace":[{"module":"stdlib","version":"v1.26.8","package":"os"}]}}
{"finding":{"osv":"GO-2026-0002","fixed_version":"v1.26.9","trace":[{"module":"stdlib","version":"v1.26.8","package":"os","function":"Mkdir"},{"module":"x"}]}}
`
	got, err := calledVulnerabilities(strings.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(map[string]string{"GO-2026-0002": "in stdlib v1.26.8, cured in v1.26.9"}, got); d != "" {
		t.Error(d)
	}
	for _, bad := range []string{"", "no JSON"} {
		if _, err := calledVulnerabilities(strings.NewReader(bad)); err == nil {
			t.Errorf("%q was taken for an answer", bad)
		}
	}
}

func TestJudgeVulnerabilities(t *testing.T) {
	known := map[string]string{"A": "cannot be cured here"}
	for _, c := range []struct {
		found map[string]string
		good  bool
		says  string
	}{
		{map[string]string{"A": "in x"}, true, "Known: A: cannot be cured here"},
		{map[string]string{"A": "in x", "B": "in y"}, false, "Known: A"},
		{nil, true, "A is not found any more"},
	} {
		var out strings.Builder
		if err := judgeVulnerabilities(&out, c.found, known); (err == nil) != c.good || !strings.Contains(out.String(), c.says) {
			t.Errorf("%v: %v, %q", c.found, err, out.String())
		}
	}
}
