// Command loadline-cli runs Loadline's checks without a window: as text for people, or as JSON.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"

	"loadline/checks/share"
)

// Exit statuses.
const (
	exitGood  = 0 // no check failed
	exitFail  = 1 // a check failed
	exitError = 2 // the checks could not be run: bad argument, no such folder, interrupted; or, after copying, not all of them
)

const usage = `Loadline checks whether a folder will arrive when it travels on a transfer appliance.

  loadline-cli before  [flags] SOURCE [SHARE]       before copying: will everything arrive, as named?
  loadline-cli after   [flags] SOURCE SHARE         after copying: is every byte on the share?
  loadline-cli arrival [flags] MANIFEST LISTING...  after arrival: is every file an object?
  loadline-cli recheck [flags] MANIFEST FOLDER      any copy, any day: is it still what the manifest says?
  loadline-cli fix     [flags] SOURCE [SHARE]       proposes better names; -apply renames, -undo goes back
  loadline-cli split   [flags] -box SIZE... SOURCE  divides the source among several boxes, one copy list each
  loadline-cli before  -demo                        the checks on a small invented archive
  loadline-cli mount   [flags] SERVER:/EXPORT FOLDER  prints the command that mounts the share; runs nothing
  loadline-cli selftest [flags] FOLDER [SHARE]      what this system really does, as one JSON document
  loadline-cli version                              which build this is, its licences, and where the handbook is
  loadline-cli completion SHELL                     what makes bash, zsh or fish complete commands and flags
  loadline-cli man                                  the manual page

"loadline-cli COMMAND -h" lists the flags. Exit status: 0 no check failed, 1 a check failed,
2 the checks could not be run, or not all of them once the copy was made.
`

// collectAt is the growth of the heap, in per cent, after which garbage is collected. Findings are
// nearly all that a run keeps, so collecting early costs little and halves what a million of them take.
const collectAt = 50

// besides is memory that nobody ever touches, so that it takes none, bytes. It counts as part of the heap: without
// it garbage would be collected every other megabyte while a run keeps next to nothing.
const besides = 16 << 20

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(collectAt)
	}
	untouched := make([]byte, besides)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first signal ends what is going on in good order; the next one ends the process where that hangs.
	context.AfterFunc(ctx, stop)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	runtime.KeepAlive(untouched)
	stop()
	share.Leave()
	os.Exit(code)
}

// run is the whole command, for main and for tests.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, usage)
		return exitError
	}
	name, rest := args[0], args[1:]
	switch name {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(stdout, usage)
		return exitGood
	case "-version", "--version":
		name = "version"
	}
	for _, c := range commands() {
		if c.name == name {
			return status(stderr, c.run(ctx, rest, stdout, stderr))
		}
	}
	fmt.Fprintf(stderr, "loadline-cli: there is no command %q\n\n%s", name, usage)
	return exitError
}

// A command is what the first word on the command line may be.
type command struct {
	name    string
	summary string // a few words for the manual and for completion
	run     func(ctx context.Context, args []string, stdout, stderr io.Writer) error
}

// commands are all of them, in the order in which a person needs them.
func commands() []command {
	return []command{
		{"before", "before copying: will everything arrive, as named?", runBefore},
		{"fix", "propose better names, apply them, go back", runFix},
		{"split", "divide the source among several boxes, one copy list each", runSplit},
		{"after", "after copying: is every byte on the share?", runAfter},
		{"arrival", "after arrival: is every file an object?", runArrival},
		{"mount", "print the command that mounts a share safely for a long copy", runMount},
		{"recheck", "is any copy still what the manifest says?", runRecheck},
		{"selftest", "what this system really does with a folder and a share, as JSON", runSelftest},
		{"version", "which build this is, its licences, and where the handbook is", runVersion},
		{"completion", "shell completion of commands and flags", runCompletion},
		{"man", "the manual page", runManual},
	}
}
