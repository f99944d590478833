//go:build linux

package before

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/schema"
)

// waited counts the waits between two looks at young files. They take no time in these tests: what
// changes a file does so before the second look in any case, not after a while.
var waited atomic.Int64

func init() {
	pause = func(ctx context.Context, d time.Duration) error {
		if d > 0 && d <= betweenLooks {
			waited.Add(1)
		}
		return ctx.Err()
	}
}

// A spot is a finding reduced to what an oracle can tell: which rule, where.
type spot struct{ rule, path string }

func (s spot) String() string { return s.rule + " " + names.Quote(s.path) }

// examine runs the checks before copying on a folder by the clock of the trees.
func examine(t testing.TB, job checks.Job) *checks.Report {
	t.Helper()
	if job.Deadline == 0 {
		job.Deadline = time.Hour // what answers has all the time there is
	}
	if job.Now == nil {
		job.Now = func() time.Time { return treeNow }
	}
	rep, err := checks.Run(t.Context(), job, List(), nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	return rep
}

// spots returns where the rules of a report hold, each once.
func spots(rep *checks.Report, rules ...*checks.Rule) map[spot]checks.Level {
	found := map[spot]checks.Level{}
	for _, f := range rep.Findings() {
		if len(rules) == 0 || slices.Contains(rules, f.Rule) {
			found[spot{f.Rule.ID, f.Path}] = f.Level
		}
	}
	return found
}

// compare reports every difference between what was found and what an oracle says.
func compare(t testing.TB, oracle string, got map[spot]checks.Level, want map[spot]bool) {
	t.Helper()
	for s := range want {
		if _, ok := got[s]; !ok {
			t.Errorf("not found, but %s says so: %s", oracle, s)
		}
	}
	for s := range got {
		if !want[s] {
			t.Errorf("found, but %s does not say so: %s", oracle, s)
		}
	}
}

// sound holds of every report: it checks what the report promises of itself, and that text and JSON
// say the same without being misled by any name.
func sound(t testing.TB, rep *checks.Report) {
	t.Helper()
	worst := checks.Passed
	for i := range rep.Checks {
		c := &rep.Checks[i]
		var levels [3]int
		rules := map[string]int64{}
		for j, f := range c.Findings {
			levels[f.Level]++
			rules[f.Rule.ID]++
			if j > 0 {
				if o := c.Findings[j-1]; o.Path > f.Path || o.Path == f.Path && o.Rule.ID > f.Rule.ID {
					t.Errorf("%s: %s %q stands before %s %q", c.ID, o.Rule.ID, o.Path, f.Rule.ID, f.Path)
				}
			}
			if !slices.Contains(c.Check.Rules, f.Rule) {
				t.Errorf("%s: a finding of rule %s, which is not one of the check's", c.ID, f.Rule.ID)
			}
			if f.Detail == "" || f.Fix() == "" {
				t.Errorf("%s: %s without detail or remedy", c.ID, f.Rule.ID)
			}
			if strings.HasPrefix(f.Path, "/") || strings.HasPrefix(f.Path, "./") || strings.HasSuffix(f.Path, "/") {
				t.Errorf("%s: path %q is not relative to the source", c.ID, f.Path)
			}
		}
		keys := map[string]bool{}
		for _, f := range c.Facts {
			if keys[f.Key] || f.Text == "" {
				t.Errorf("%s: fact %s stands twice, or has no text", c.ID, f.Key)
			}
			keys[f.Key] = true
		}
		for _, r := range c.Check.Rules {
			switch {
			case r.Counted && rules[r.ID] > 0:
				t.Errorf("%s: rule %s is counted only, but has findings", c.ID, r.ID)
			case !r.Counted && rules[r.ID] != c.Rules[r.ID]:
				t.Errorf("%s: rule %s has %d findings, counted %d", c.ID, r.ID, rules[r.ID], c.Rules[r.ID])
			}
		}
		if levels != c.Levels {
			t.Errorf("%s: levels %v, counted %v", c.ID, c.Levels, levels)
		}
		want := checks.Passed
		switch {
		case levels[checks.Fail] > 0:
			want = checks.Failed
		case c.Reason != "":
			want = checks.Unknown
		case levels[checks.Warn] > 0:
			want = checks.Warned
		}
		if c.Status != want {
			t.Errorf("%s: status %s, its findings make it %s", c.ID, c.Status, want)
		}
		if want == checks.Failed || want != checks.Passed && worst == checks.Passed {
			worst = choose(want == checks.Failed, checks.Failed, checks.Warned)
		}
	}
	if rep.Verdict != worst {
		t.Errorf("verdict %s, the checks make it %s", rep.Verdict, worst)
	}
	soundText(t, rep)
	soundJSON(t, rep)
}

func soundText(t testing.TB, rep *checks.Report) {
	t.Helper()
	var b bytes.Buffer
	if err := rep.WriteText(&b); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(b.String()) {
		if why := unsafeText(strings.TrimSuffix(line, "\n")); why != "" {
			t.Errorf("the text report holds %s in %q", why, line)
		}
	}
}

// unsafeText says what a line holds that no screen should get: a control character, one that
// directs text (UAX #9, from memory), a byte that is not UTF-8.
func unsafeText(s string) string {
	for i, r := range s {
		switch {
		case r == '\uFFFD' && !strings.HasPrefix(s[i:], "\uFFFD"):
			return fmt.Sprintf("byte %#x", s[i])
		case r < 0x20, r >= 0x7F && r <= 0x9F, r == 0x2028, r == 0x2029,
			r == 0x061C, r == 0x200E, r == 0x200F, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
			return fmt.Sprintf("%U", r)
		}
	}
	return ""
}

// jsonReport is the report as the handbook describes it, read by encoding/json.
type jsonReport struct {
	Tool, Version, Stage, Started, Finished, Verdict string
	Schema                                           int
	Source                                           struct{ Path string }
	Share                                            *struct{ Path, Prefix, From, Type string }
	Totals                                           checks.Totals
	Checks                                           []struct {
		ID, Title, Status, Summary string
		Facts                      map[string]any
		Rules                      map[string]int64
		Findings                   []struct {
			Path       string
			PathBase64 []byte `json:"path_base64"`
			Rule       string
			Level      string
			Detail     string
			Fix        string
		}
	}
}

var published = sync.OnceValues(schema.Load)

func readJSON(t testing.TB, rep *checks.Report) (jsonReport, string) {
	t.Helper()
	var b bytes.Buffer
	if err := rep.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var j jsonReport
	if err := json.Unmarshal(b.Bytes(), &j); err != nil {
		t.Fatalf("the JSON report is none: %v", err)
	}
	schemas, err := published()
	if err != nil {
		t.Fatal(err)
	}
	if known, err := schemas.Check(b.Bytes()); !known || err != nil {
		t.Errorf("the JSON report is not as its schema says (known: %v): %v", known, err)
	}
	return j, b.String()
}

func soundJSON(t testing.TB, rep *checks.Report) {
	t.Helper()
	j, text := readJSON(t, rep)
	if why := unsafeText(strings.TrimSuffix(text, "\n")); why != "" {
		t.Errorf("the JSON report holds %s", why)
	}
	if j.Tool != "loadline" || j.Schema != checks.Schema || j.Verdict != rep.Verdict.String() || len(j.Checks) != len(rep.Checks) {
		t.Fatalf("JSON: tool %q, schema %d, verdict %q, %d checks", j.Tool, j.Schema, j.Verdict, len(j.Checks))
	}
	if j.Totals != rep.Totals {
		t.Errorf("JSON totals %+v, report %+v", j.Totals, rep.Totals)
	}
	for i, c := range j.Checks {
		r := &rep.Checks[i]
		if c.ID != r.ID || c.Title != r.Title || c.Status != r.Status.String() || c.Summary != string([]rune(r.Summary)) {
			t.Errorf("JSON check %d: %q %q %q %q", i, c.ID, c.Title, c.Status, c.Summary)
		}
		if !maps.Equal(c.Rules, r.Rules) || len(c.Facts) != len(r.Facts) || len(c.Findings) != len(r.Findings) {
			t.Errorf("JSON %s: rules %v, %d facts, %d findings; want %v, %d, %d", c.ID,
				c.Rules, len(c.Facts), len(c.Findings), r.Rules, len(r.Facts), len(r.Findings))
			continue
		}
		for k, f := range c.Findings {
			path := f.Path
			if f.PathBase64 != nil {
				path = string(f.PathBase64)
			}
			if o := &r.Findings[k]; path != o.Path || f.Rule != o.Rule.ID || f.Level != o.Level.String() || f.Detail != o.Detail || f.Fix != o.Fix() {
				t.Errorf("JSON finding %+v, report %+v", f, o)
			}
		}
	}
}

// output runs a program of the system, which must be there, and returns what it prints.
func output(t testing.TB, dir, program string, args ...string) string {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "LC_ALL=C", "TZ=UTC")
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatalf("%s is needed for this test: %v", program, err)
	}
	if complaints.Len() > 0 {
		t.Logf("%s: %s", program, strings.TrimSpace(complaints.String()))
	}
	return string(out)
}

// find asks find(1) of findutils which entries below root an expression holds for.
func find(t testing.TB, root, rule string, expression ...string) map[spot]bool {
	t.Helper()
	args := append([]string{".", "-mindepth", "1"}, expression...)
	want := map[spot]bool{}
	for _, p := range strings.Split(output(t, root, "find", append(args, "-print0")...), "\x00") {
		if p != "" {
			want[spot{rule, strings.TrimPrefix(p, "./")}] = true
		}
	}
	return want
}

// realTemp is a temporary folder without links in its path.
func realTemp(t testing.TB) string {
	t.Helper()
	dir, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	return dir
}
