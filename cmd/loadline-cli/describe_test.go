//go:build unix

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
)

// Usage, manual and completion speak of the same commands and flags as the program takes.
func TestDescribe(t *testing.T) {
	all := describe()
	page := manPage(all)
	var scripts []string
	for _, name := range []string{"bash", "zsh", "fish"} {
		var out bytes.Buffer
		if status := run(t.Context(), []string{"completion", name}, &out, &out); status != exitGood {
			t.Fatalf("completion %s: status %d, %s", name, status, out.String())
		}
		scripts = append(scripts, out.String())
	}
	for _, c := range all {
		if !regexp.MustCompile(`(?m)^  loadline-cli ` + c.name + ` `).MatchString(usage) {
			t.Errorf("the usage does not name %s", c.name)
		}
		if !strings.Contains(page, ".B loadline\\-cli "+c.name+"\n") {
			t.Errorf("the manual does not name %s", c.name)
		}
		for _, s := range scripts {
			if !strings.Contains(s, c.name) {
				t.Errorf("a completion does not name %s: %.40s", c.name, s)
			}
		}
		for _, o := range c.flags {
			spelled := regexp.MustCompile(`-(o |s )?` + regexp.QuoteMeta(o.name) + `\b`)
			for _, s := range scripts {
				if !spelled.MatchString(s) {
					t.Errorf("a completion does not know -%s of %s: %.40s", o.name, c.name, s)
				}
			}
			if o.text == "" {
				t.Errorf("-%s of %s says nothing of itself", o.name, c.name)
			}
		}
	}
	before := all[0]
	if before.name != "before" || before.arguments != "SOURCE [SHARE]" {
		t.Errorf("the first command is %q with %q", before.name, before.arguments)
	}
	i := slices.IndexFunc(before.flags, func(o option) bool { return o.name == "battery" })
	if i < 0 || before.flags[i].value != "HOURS" {
		t.Errorf("flags of before: %+v", before.flags)
	}
	if a := all[slices.IndexFunc(all, func(d described) bool { return d.name == "arrival" })]; !strings.Contains(a.more, "LISTING is a file") {
		t.Errorf("what arrival says below its flags is %q", a.more)
	}
}

// A line that roff would take for a request is text, and so is a backslash (roff(7), "Control
// characters").
func TestRoff(t *testing.T) {
	for in, want := range map[string]string{
		"plain": "plain", ".nf": `\&.nf`, "a\n'b": "a\n\\&'b", `a\b`: `a\eb`, "-key": `\-key`,
	} {
		if got := roff(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// Bash itself completes.
func TestBashCompletes(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a film.mov", "archive"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var script bytes.Buffer
	if status := run(t.Context(), []string{"completion", "bash"}, &script, &script); status != exitGood {
		t.Fatal(script.String())
	}
	for _, c := range []struct{ words, want string }{
		{"arr", "arrival"},
		{"before -bat", "-battery"},
		{"before --bat", "-battery"},
		{"before -battery ", ""},
		{"before -json a", "a film.mov|archive"},
		{"after -manifest arc", "archive"},
		{"completion z", "zsh"},
		{"nosuch -", ""},
	} {
		words := strings.Split(c.words, " ")
		cmd := exec.Command("bash", append([]string{
			"--norc", "-c",
			script.String() + `
COMP_WORDS=(loadline-cli "$@") COMP_CWORD=$#
_loadline_cli
IFS='|'; printf %s "${COMPREPLY[*]}"`, "bash",
		}, words...)...)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		if err != nil || string(out) != c.want {
			t.Errorf("%q: %q, %v; want %q", c.words, out, err, c.want)
		}
	}
}

// The handbook is found where the packages put it.
func TestHandbook(t *testing.T) {
	top := t.TempDir()
	exe := filepath.Join(top, "bin", "loadline-cli")
	if got := checks.Handbook(exe); got != "" {
		t.Errorf("found %s where nothing is", got)
	}
	for _, place := range []string{"bin", "Resources", "share/doc/loadline"} { // the last is looked at first
		file := filepath.Join(top, filepath.FromSlash(place), "handbook.html")
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if got := checks.Handbook(exe); got != file {
			t.Errorf("found %q, want %s", got, file)
		}
	}
	if got := checks.Handbook(""); got != "" {
		t.Errorf("found %s without knowing where the program is", got)
	}
}
