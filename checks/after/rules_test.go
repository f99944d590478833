package after

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
)

// TestListOutdated shows list-outdated: a copy list that names what is no longer on the source is told; what it names and is there
// is still compared.
func TestListOutdated(t *testing.T) {
	p := archive(t)
	p.copy(t)
	list, err := checks.ReadCopyList(strings.NewReader("notes.txt\ngone/clip.mov\n"))
	if err != nil {
		t.Fatal(err)
	}
	job := p.job()
	job.CopyList = list
	rep, err := Run(t.Context(), job, Options{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := checks.Finding{Rule: listOutdated, Level: checks.Warn}
	i := slices.IndexFunc(rep.Checks[1].Findings, func(f checks.Finding) bool { return f.Rule == want.Rule && f.Level == want.Level && f.Path == "" })
	if i < 0 || rep.Verdict == checks.Failed {
		t.Errorf("%s: %v", rep.Verdict, rep.Checks[1].Findings)
	}
}

// TestEveryRuleIsTested finds rules that no test of this stage names: here, in the cases, or in the scripts
// of the command.
func TestEveryRuleIsTested(t *testing.T) {
	var tests bytes.Buffer
	for _, pattern := range []string{"*_test.go", "../../testdata/cli/*.txtar"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("no tests: %v", err)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			tests.Write(text)
		}
	}
	// The rules of the share's check have their cases in the stage before.
	for _, c := range New(Options{}).List()[1:] {
		for _, r := range c.Rules {
			if !bytes.Contains(tests.Bytes(), []byte(`"`+r.ID+`"`)) && !bytes.Contains(tests.Bytes(), []byte(" "+r.ID)) {
				t.Errorf("no test names rule %s", r.ID)
			}
		}
	}
}
