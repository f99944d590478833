package main

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"loadline/checks"
	"loadline/checks/schema"
)

// TestMain makes the real command, main and all, a program of the scripts.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"loadline-cli": main})
}

// TestScripts runs every script of testdata/cli. Each begins with the files it needs and says what the
// command must print; "exits 2 loadline-cli …" runs a program that must end with that status, and what it
// prints in JSON must be as the published schemas say.
func TestScripts(t *testing.T) {
	schemas, err := schema.Load()
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "../../testdata/cli",
		Setup: func(env *testscript.Env) error {
			// With the race detector a program sleeps for a second before it ends, unless it is told not to.
			env.Setenv("GORACE", "atexit_sleep_ms=0")
			return age(env.WorkDir)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": func(ts *testscript.TestScript, neg bool, args []string) {
				exits(ts, neg, args)
				for line := range strings.Lines(ts.ReadFile("stdout")) {
					if _, err := schemas.Check([]byte(line)); err != nil {
						ts.Fatalf("%s\n%v", line, err)
					}
				}
			},
		},
		RequireUniqueNames: true,
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS PROGRAM [ARGUMENT...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var status *exec.ExitError
		if !errors.As(err, &status) {
			ts.Fatalf("%s: %v", args[1], err)
		}
		got = status.ExitCode()
	}
	if got != want {
		ts.Fatalf("%s ended with status %d, want %d", args[1], got, want)
	}
}

// TestStatus: what a script may go by.
func TestStatus(t *testing.T) {
	report := func(stage checks.Stage, all ...checks.Status) *checks.Report {
		r := &checks.Report{Stage: stage}
		for _, s := range all {
			r.Checks = append(r.Checks, checks.Result{Status: s})
		}
		r.Verdict = checks.Verdict(r.Checks)
		return r
	}
	for _, c := range []struct {
		rep  *checks.Report
		want int
	}{
		{report(checks.Before, checks.Passed, checks.Warned, checks.Unknown), exitGood}, // the box has not come yet
		{report(checks.Before, checks.Unknown, checks.Failed), exitFail},
		{report(checks.After, checks.Passed, checks.Warned), exitGood},
		{report(checks.After, checks.Passed, checks.Unknown), exitError}, // nothing is proven
		{report(checks.After, checks.Failed, checks.Unknown), exitFail},
		{report(checks.Arrival, checks.Passed), exitGood},
		{report(checks.Arrival, checks.Failed), exitFail},
		{report(checks.Arrival, checks.Unknown), exitError}, // a listing that is not whole
		{report(checks.Recheck, checks.Passed, checks.Unknown), exitError},
		{report(checks.Recheck, checks.Passed, checks.Warned), exitGood}, // a sample
	} {
		if got := statusOf(c.rep); got != c.want {
			t.Errorf("%s %+v: status %d, want %d", c.rep.Stage, c.rep.Checks, got, c.want)
		}
	}
}

// age dates all files in a folder two hours back, so that no check takes them for files that are still
// being written and waits to look again. Scripts about that touch them.
func age(dir string) error {
	old := time.Now().Add(-2 * time.Hour)
	return filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		return errors.Join(err, os.Chtimes(path, old, old))
	})
}
