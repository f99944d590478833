package checks

import (
	"errors"
	"regexp"
	"runtime/debug"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// Packages, reports and the manual carry the version: it is one of Semantic Versioning 2.0.0, whose
// grammar allows nothing that a file name or a package's version field would trip over.
func TestVersion(t *testing.T) {
	if !regexp.MustCompile(`^(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)$`).MatchString(Version) {
		t.Errorf("%q is not MAJOR.MINOR.PATCH", Version)
	}
}

// Every system but the one that the tests run on is said to be unproven, each in words of its own.
func TestUnproven(t *testing.T) {
	if no := Unproven("linux"); no != "" {
		t.Errorf("linux: %q", no)
	}
	for system, want := range map[string]string{"darwin": "never run on a Mac", "windows": "never on Windows itself", "freebsd": "never been tried on it"} {
		if no := Unproven(system); !strings.HasPrefix(no, "Not yet proven on this system: ") || !strings.Contains(no, want) || !strings.Contains(no, "selftest") {
			t.Errorf("%s: %q", system, no)
		}
	}
	rep := Report{Unproven: Unproven("darwin"), Version: "1.2.3"}
	var text, json strings.Builder
	if err := errors.Join(rep.WriteText(&text), rep.WriteJSON(&json)); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text.String(), "\nNot yet proven on this system: ") || !strings.Contains(json.String(), `"unproven":"Not yet proven on this system: `) {
		t.Errorf("the reports do not say it:\n%s\n%s", text.String(), json.String())
	}
	rep.Unproven = ""
	json.Reset()
	if err := rep.WriteJSON(&json); err != nil || strings.Contains(json.String(), "unproven") {
		t.Errorf("%v: %s", err, json.String())
	}
}

// The keys are those of runtime/debug.BuildSetting.
func TestBuild(t *testing.T) {
	const hash = "0123456789abcdef0123456789abcdef01234567"
	base := Build{Version: "1.2.3", Go: "go1.26.8", System: "linux/amd64"}
	with := func(f func(*Build)) Build { b := base; f(&b); return b }
	date := time.Date(2026, 11, 25, 7, 8, 9, 0, time.UTC)
	for _, c := range []struct {
		name     string
		settings []debug.BuildSetting
		want     Build
		says     string
	}{
		{
			"outside a clone",
			[]debug.BuildSetting{{Key: "GOOS", Value: "linux"}},
			base, "Loadline 1.2.3\ncommit unknown: built outside a clone\ngo1.26.8 for linux/amd64",
		},
		{
			"clean",
			[]debug.BuildSetting{{Key: "vcs", Value: "git"}, {Key: "vcs.revision", Value: hash}, {Key: "vcs.time", Value: "2026-11-25T07:08:09Z"}, {Key: "vcs.modified", Value: "false"}},
			with(func(b *Build) { b.Commit, b.Date = hash, date }),
			"Loadline 1.2.3\ncommit " + hash + " of 25 November 2026\ngo1.26.8 for linux/amd64",
		},
		{
			"changed",
			[]debug.BuildSetting{{Key: "vcs.revision", Value: hash}, {Key: "vcs.modified", Value: "true"}},
			with(func(b *Build) { b.Commit, b.Modified = hash, true }),
			"Loadline 1.2.3\ncommit " + hash + ", with changes that are in no commit\ngo1.26.8 for linux/amd64",
		},
		{
			"for a Mac",
			nil, with(func(b *Build) { b.System = "darwin/arm64" }),
			"Loadline 1.2.3\ncommit unknown: built outside a clone\ngo1.26.8 for darwin/arm64\n" +
				"Not yet proven on this system: Loadline has been built and vetted for macOS, but never run on a Mac; " +
				"please attach what “loadline-cli selftest” prints to anything that you report.",
		},
	} {
		got := base
		got.System = c.want.System
		got.stamp(c.settings)
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s: %s", c.name, d)
		}
		if got.String() != c.says {
			t.Errorf("%s: says %q, want %q", c.name, got.String(), c.says)
		}
	}
}
