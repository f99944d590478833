package main

import (
	"errors"
	"os/exec"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain makes the real command, main and all, a program of the scripts.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"loadline-cli": main})
}

// TestScripts runs every script of testdata/cli. Each begins with the files it needs and says what the
// command must print; "exits 2 loadline-cli …" runs a program that must end with that status.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "../../testdata/cli",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits,
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
