package checks_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/after"
	"loadline/checks/arrival"
	"loadline/checks/before"
	"loadline/checks/recheck"
	"loadline/checks/split"
)

var update = flag.Bool("update", false, "write goldens anew")

// stages are the chapters of the handbook.
var stages = []struct {
	title string
	list  []*checks.Check
}{
	{"Before copying", before.List()},
	{"More than one box", split.List()},
	{"After copying", after.New(after.Options{}).List()},
	{"After arrival", arrival.List()},
	{"Recheck of a copy", recheck.List()},
}

// TestHandbook keeps README.md beside the checks in step with them: every check and every rule has
// its line there, word for word, and nothing stands there that the program does not know.
func TestHandbook(t *testing.T) {
	const file = "README.md"
	want := handbook()
	if *update {
		if err := os.WriteFile(file, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s is not what the checks say; run: go test ./checks -run Handbook -update", file)
	}
	for _, s := range stages {
		if err := checks.Validate(s.list); err != nil {
			t.Errorf("%s: %v", s.title, err)
		}
		for _, c := range s.list {
			for _, r := range c.Rules {
				if !strings.Contains(string(got), "| `"+r.ID+"` |") {
					t.Errorf("%s: rule %s has no line", file, r.ID)
				}
			}
		}
	}
}

// handbook renders the checks of all stages for people.
func handbook() []byte {
	var b bytes.Buffer
	fmt.Fprint(&b, `# What Loadline checks

Made from the checks themselves by `+"`go test ./checks -run Handbook -update`"+`. The checks of a stage run in this order.
**note** never changes a status, **warn** means that something is lost, slow or fragile, **fail** means that data would
not arrive, or that the copy would stop. A check that could not look is “Not checked”, with the reason, and never good.
`)
	for _, s := range stages {
		fmt.Fprintf(&b, "\n# %s\n", s.title)
		for i, c := range s.list {
			fmt.Fprintf(&b, "\n## %d. %s\n\n`%s` · %s\n\n%s\n\n", i+1, c.Title, c.ID, c.Group, c.Doc)
			fmt.Fprintf(&b, "What to do: %s\n\n", c.Fix)
			fmt.Fprintln(&b, "| rule | level | when | what to do | source |")
			fmt.Fprintln(&b, "| --- | --- | --- | --- | --- |")
			for _, r := range c.Rules {
				level := r.Level.String()
				if r.Counted {
					level += ", counted only"
				}
				fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", r.ID, level, cell(r.When), cell(r.Fix), cell(r.Source))
			}
		}
	}
	return b.Bytes()
}

func cell(s string) string { return strings.ReplaceAll(s, "|", `\|`) }
