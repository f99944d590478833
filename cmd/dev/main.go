// Command dev gets a machine ready for Loadline and then does one thing: the constant usage tells what.
//
// It installs only what is missing, with the system's own package manager, and prints every
// command before it runs it.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"loadline/cmd/dev/pack"
)

const windowTags = pack.WindowTags

const usage = `usage: go run ./cmd/dev COMMAND

  start [ARG…]          install what the window needs and open it on the demo;
                        without a display run the command on the demo instead
  test [-only STEP,…]   install what the tests need and run them all
  test -release [-only STEP,…]
                        the second set: packages and other systems (Debian)
  bench [-quick] [-clips] [-read] [-window] [-dir FOLDER]
                        build trees and measure the walk and the reading, or the window (Linux)
  package -o DIR        make packages, archives and checksums in a new folder:
                        on Debian all but the window for macOS, on a Mac that
  pictures              make the pictures of the README anew (Linux)`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := do(ctx, os.Args[1:])
	if ctx.Err() != nil {
		err = errors.New("interrupted")
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "dev:", err)
		stop()
		os.Exit(1)
	}
}

func do(ctx context.Context, args []string) error {
	if len(args) == 0 {
		return fmt.Errorf("say what to do\n%s", usage)
	}
	root, err := moduleRoot()
	if err != nil {
		return err
	}
	if err := os.Chdir(root); err != nil {
		return err
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		fmt.Println(usage)
		return nil
	}
	c := commands[args[0]]
	if c == nil {
		return fmt.Errorf("%q is not one of start, test, bench, package, pictures\n%s", args[0], usage)
	}
	return c(ctx, args[1:])
}

// commands are the words that may stand first.
var commands = map[string]func(context.Context, []string) error{"start": start, "test": test, "bench": bench, "package": makePackages, "pictures": pictures}

// moduleRoot is the folder of go.mod, at or above the current one.
func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("no go.mod here or above: run this in the folder of the project")
		}
		dir = up
	}
}

// A speakKey is the key of the writer that speakTo puts into a context.
type speakKey struct{}

// speakTo has everything that is run with the context returned speak to out and not to this terminal.
func speakTo(ctx context.Context, out io.Writer) context.Context {
	return context.WithValue(ctx, speakKey{}, out)
}

// speaker is where to speak to.
func speaker(ctx context.Context) io.Writer {
	if out, ok := ctx.Value(speakKey{}).(io.Writer); ok {
		return out
	}
	return os.Stdout
}

// command prepares a program that sees this terminal, or speaks to what speakTo said, and ends when
// ctx does.
func command(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	if out := speaker(ctx); out != os.Stdout {
		cmd.Stdout, cmd.Stderr = out, out
	}
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 10 * time.Second
	return cmd
}

// run prints a command line and runs it.
func run(ctx context.Context, name string, args ...string) error {
	return runEnv(ctx, nil, name, args...)
}

// runEnv is run with more in the environment.
func runEnv(ctx context.Context, env []string, name string, args ...string) error {
	fmt.Fprintln(speaker(ctx), "+", strings.Join(append(slices.Clip(env), line(name, args)), " "))
	cmd := command(ctx, name, args...)
	cmd.Stdin = nil
	cmd.Env = append(os.Environ(), env...)
	defer ownGroup(cmd)()
	return failed(cmd.Run(), name, args)
}

// output runs a program and returns what it prints.
func output(ctx context.Context, name string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	return strings.TrimSpace(string(out)), failed(err, name, args)
}

// failed says which command it was that failed.
func failed(err error, name string, args []string) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", line(name, args), err)
}

// toolsMod pins the tools of the house, apart from what the program itself needs.
const toolsMod = ".ci/tools/go.mod"

// houseTool returns the arguments of the go command that run a pinned tool.
func houseTool(name string, args ...string) []string {
	return append([]string{"tool", "-modfile=" + toolsMod, name}, args...)
}

// line is a command as a person would type it.
func line(name string, args []string) string {
	words := []string{name}
	for _, a := range args {
		if a == "" || strings.ContainsAny(a, " \t\n'\"$&|;<>()*?[]#~\\") {
			a = "'" + strings.ReplaceAll(a, "'", `'\''`) + "'"
		}
		words = append(words, a)
	}
	return strings.Join(words, " ")
}
