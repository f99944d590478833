package checks

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write goldens anew")

// TestHandbook keeps README.md beside the checks in step with them: every check and every rule has
// its line there, word for word, and nothing stands there that the program does not know.
func TestHandbook(t *testing.T) {
	const file = "README.md"
	want := handbook(BeforeList())
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
	for _, c := range BeforeList() {
		for _, r := range c.Rules {
			if !strings.Contains(string(got), "`"+r.ID+"`") {
				t.Errorf("%s: rule %s has no line", file, r.ID)
			}
		}
	}
}

// handbook renders a list of checks for people.
func handbook(list []*Check) []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, "# What Loadline checks before copying")
	fmt.Fprintln(&b)
	fmt.Fprintln(&b, "Made from the checks themselves by `go test ./checks -run Handbook -update`. The checks run in this")
	fmt.Fprintln(&b, "order. **note** never changes a status, **warn** means that something is lost, slow or fragile, **fail**")
	fmt.Fprintln(&b, "means that data would not arrive, or that the copy would stop. A check that could not look is “Not")
	fmt.Fprintln(&b, "checked”, with the reason, and never good.")
	for i, c := range list {
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
	return b.Bytes()
}

func cell(s string) string { return strings.ReplaceAll(s, "|", `\|`) }
