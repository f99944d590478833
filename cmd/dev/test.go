package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// A step is one part of the test run.
type step struct {
	name  string // for -only
	title string
	needs []need // what is installed for it
	do    func(context.Context) error
}

// steps are all parts in the order in which they begin, two at a time: what is quick and fails often
// comes first. The longest comes next, and beside it what mostly waits or has one goroutine.
var steps = []step{
	{"format", "Go files are formatted (gofumpt)", nil, formatted},
	{"vet", "go vet", []need{needWindow}, func(ctx context.Context) error {
		return run(ctx, "go", "vet", "-tags", allTags, "./...")
	}},
	{"tidy", "Both go.mod files are tidy", nil, func(ctx context.Context) error {
		return errors.Join(run(ctx, "go", "mod", "tidy", "-diff"), run(ctx, "go", "-C", path.Dir(toolsMod), "mod", "tidy", "-diff"))
	}},
	{"elsewhere", "go vet, for macOS and Windows", nil, vetElsewhere},
	{"unit", "Tests, with the race detector", []need{needWindow, needTests}, func(ctx context.Context) error {
		// The tests of a share that was cut off mostly wait for its return: they begin first, and beside them
		// there is work for every core. The step vet has vetted all.
		return run(ctx, "go", "test", "-race", "-vet=off", "-p", strconv.Itoa(runtime.NumCPU()+1), "-timeout", "20m", "./checks/share", "./...")
	}},
	// Not beside vet, or where nothing is compiled yet both would compile the same.
	{"staticcheck", "staticcheck", []need{needWindow}, func(ctx context.Context) error {
		return run(ctx, "go", houseTool("staticcheck", "-tags", allTags, "./...")...)
	}},
	{"window", "The window builds", []need{needWindow}, func(ctx context.Context) error {
		_, err := buildWindow(ctx)
		return err
	}},
	{"e2e", "The real window, end to end", []need{needWindow, needTests}, func(ctx context.Context) error {
		return run(ctx, "go", "test", "-tags", e2eTag+","+windowTags, "-vet=off", "-count=1", "-v", "-timeout", "15m", "./cmd/loadline")
	}},
	{"fuzz", "Every fuzz target for a moment", nil, fuzz},
	{"large", "Tests on large data, without the race detector", []need{needWindow, needTests}, large},
}

// e2eTag is the build tag of the tests that need a display of their own.
const e2eTag = "e2e"

// clipsTag is the build tag of the campaign over whole and cut clips.
const clipsTag = "clipsall"

// allTags are the build tags of all tests, for what reads the source.
const allTags = e2eTag + "," + releaseTag + "," + clipsTag

// namedSteps run only where -only names them: they take hours.
var namedSteps = []step{
	{"clips-all", "Clips of every container, whole and cut at random, beside a player (hours)", []need{needClips}, func(ctx context.Context) error {
		return run(ctx, "go", "test", "-tags", clipsTag, "-count=1", "-v", "-timeout", "6h", "-run", "Recipes|Whole|Cuts|Large|Record", "./checks/media")
	}},
}

// everyStep lists the steps of all sets.
func everyStep() []step { return slices.Concat(steps, releaseSteps, namedSteps) }

// test installs what its steps need and runs them all, or those named. A step that fails does not
// keep the others from running: all that is wrong is seen at once.
func test(ctx context.Context, args []string) error {
	flags := flag.NewFlagSet("test", flag.ContinueOnError)
	var names []string
	for _, s := range everyStep() {
		names = append(names, s.name)
	}
	release := flags.Bool("release", false, "run the second set of steps, about what is released")
	only := flags.String("only", "", "run these `steps` and no others, with commas: "+strings.Join(names, ", "))
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("test takes no arguments, so not %q", flags.Arg(0))
	}
	set, atATime := steps, 2
	switch {
	case *only != "":
		set, atATime = everyStep(), 1
	case *release:
		set, atATime = releaseSteps, 1 // one uses what another has made
	}
	chosen, err := choose(set, *only)
	if err != nil {
		return err
	}
	var needs []need
	for _, s := range chosen {
		needs = append(needs, s.needs...)
	}
	if err := install(ctx, needs...); err != nil {
		return err
	}
	// A program built with the race detector sleeps for a second before it ends, and tests run many. Without the
	// path of the clone in it, what one clone has compiled need not be compiled in the next.
	if err := errors.Join(os.Setenv("GORACE", "atexit_sleep_ms=0 "+os.Getenv("GORACE")), os.Setenv("GOFLAGS", "-trimpath "+os.Getenv("GOFLAGS"))); err != nil {
		return err
	}
	if err := temporary(); err != nil {
		return err
	}
	begun := time.Now()
	lines, failures := runSteps(ctx, os.Stdout, chosen, atATime)
	fmt.Printf("\n## Summary, %s\n%s", round(time.Since(begun)), strings.Join(lines, ""))
	if ctx.Err() == nil && len(failures) > 0 {
		return fmt.Errorf("failed: %s", strings.Join(failures, ", "))
	}
	return ctx.Err()
}

// choose picks the steps that list names; all if it names none.
func choose(all []step, list string) ([]step, error) {
	if list == "" {
		return all, nil
	}
	var chosen []step
	for _, name := range strings.Split(list, ",") {
		i := slices.IndexFunc(all, func(s step) bool { return s.name == name })
		if i < 0 {
			return nil, fmt.Errorf("there is no step %q", name)
		}
		chosen = append(chosen, all[i])
	}
	return chosen, nil
}

// runSteps runs steps until all ran or ctx ends, so many at a time as asked, begun in their order. It
// writes what each says to out, whole and in that order, with a heading before and after. It returns
// a line about each, and the names of those that failed.
func runSteps(ctx context.Context, out io.Writer, list []step, atATime int) (lines, failures []string) {
	type result struct {
		word string
		took time.Duration
	}
	turns := make([]turn, len(list))
	results := make([]chan result, len(list))
	for i := range results {
		results[i] = make(chan result, 1)
	}
	go func() {
		places := make(chan struct{}, atATime)
		for i, s := range list {
			places <- struct{}{}
			var say io.Writer = &turns[i]
			if atATime == 1 {
				say = out // its programs can have the terminal itself
			}
			go func() {
				defer func() { <-places }()
				word, took := s.run(ctx, say)
				results[i] <- result{word, took}
			}()
		}
	}()
	for i, s := range list {
		turns[i].comes(out)
		r := <-results[i]
		if r.word == notRun {
			lines = append(lines, fmt.Sprintf("%s  %-12s %s\n", r.word, s.name, s.title))
			continue
		}
		if r.word != "ok" {
			failures = append(failures, s.name)
		}
		lines = append(lines, fmt.Sprintf("%-8s %-12s %7s  %s\n", r.word, s.name, r.took, s.title))
	}
	return lines, failures
}

// notRun is the word about a step that had not begun when the run was interrupted.
const notRun = "not run"

// run runs one step and returns the word about it for the summary.
func (s step) run(ctx context.Context, out io.Writer) (word string, took time.Duration) {
	if ctx.Err() != nil {
		return notRun, 0
	}
	fmt.Fprintf(out, "\n## %s: %s\n", s.name, s.title)
	begun := time.Now()
	err := s.do(speakTo(ctx, out))
	took, word = round(time.Since(begun)), "ok"
	if err != nil {
		word = "FAILED"
		fmt.Fprintf(out, "%s: %v\n", s.name, err)
	}
	fmt.Fprintf(out, "## %s: %s, %s\n", s.name, word, took)
	return word, took
}

// A turn is the writer of one step among several that run at a time: it holds back what the step says
// until the steps before it have said all of theirs.
type turn struct {
	mu   sync.Mutex
	held bytes.Buffer
	out  io.Writer // nil before its turn
}

func (t *turn) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.out == nil {
		return t.held.Write(b)
	}
	return t.out.Write(b)
}

// comes lets the step speak to out from now on, and first passes on what it has said already.
func (t *turn) comes(out io.Writer) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.out = out
	_, _ = t.held.WriteTo(out)
}

func round(d time.Duration) time.Duration { return d.Round(100 * time.Millisecond) }

// formatted lists the files that gofumpt would change.
func formatted(ctx context.Context) error {
	args := houseTool("gofumpt", "-l", ".")
	fmt.Fprintln(speaker(ctx), "+", line("go", args))
	cmd := command(ctx, "go", args...)
	var out bytes.Buffer
	cmd.Stdout = &out
	if err := cmd.Run(); err != nil {
		return err
	}
	if out.Len() > 0 {
		return fmt.Errorf("not formatted; run %s on\n%s", line("go", houseTool("gofumpt", "-w")), out.String())
	}
	return nil
}

// vetElsewhere vets what needs no cgo for the systems other than this one, which has a step of its own.
func vetElsewhere(ctx context.Context) error {
	var errs []error
	for _, system := range []string{"linux", "darwin", "windows"} {
		if system != runtime.GOOS {
			errs = append(errs, runEnv(ctx, []string{"CGO_ENABLED=0", "GOOS=" + system, "GOARCH=amd64"},
				"go", "vet", "./checks/...", "./cmd/loadline-cli/...", "./cmd/dev/..."))
		}
	}
	return errors.Join(errs...)
}

// noRace is the build constraint of test files whose tests go through much data in one goroutine. The
// race detector makes them several times slower and has nothing to find in them.
const noRace = "!race"

// large runs the tests that the race detector leaves out.
func large(ctx context.Context) error {
	found, err := testFunctions(os.DirFS("."), "Test", withoutRace)
	if err != nil {
		return err
	}
	if len(found) == 0 {
		return errors.New("no test file is marked " + noRace + ": there should be several")
	}
	var folders, names []string
	for _, t := range found {
		folders, names = append(folders, "./"+t.folder), append(names, t.name)
	}
	slices.Sort(names)
	args := []string{"test", "-vet=off", "-timeout", "20m", "-run", "^(" + strings.Join(slices.Compact(names), "|") + ")$"}
	return run(ctx, "go", append(args, slices.Compact(folders)...)...)
}

// withoutRace reports whether a test file is built without the race detector only.
func withoutRace(source []byte) bool {
	first, _, _ := bytes.Cut(source, []byte("\n"))
	return bytes.HasPrefix(first, []byte("//go:build ")) && bytes.HasSuffix(first, []byte(noRace))
}

// A target is one test or fuzz function of a package.
type target struct{ folder, name string }

// Bounds of the fuzzing of one target: a smoke test, not a hunt. It ends by count, because with a
// time the go command now and then calls the end of that time a failure (golang/go#75804); the
// time is only for a target that is far too slow.
const (
	fuzzInputs = 2_000
	fuzzRuns   = 60 // of targets that run all checks on a folder of their own
	fuzzMost   = 2 * time.Minute
)

// fuzz runs every fuzz target for a moment. A package is built once for all its targets: building takes longer than
// they do.
func fuzz(ctx context.Context) (err error) {
	targets, err := fuzzTargets(os.DirFS("."))
	if err != nil {
		return err
	}
	if len(targets) == 0 {
		return errors.New("no fuzz target found: there should be one for every parser")
	}
	cache, err := exec.CommandContext(ctx, "go", "env", "GOCACHE").Output()
	if err != nil {
		return err
	}
	work, err := os.MkdirTemp("", "loadline-fuzz-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	program := filepath.Join(work, "fuzz.test")
	var errs []error
	for i, t := range targets {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if i == 0 || targets[i-1].folder != t.folder {
			if err := run(ctx, "go", "test", "-c", "-vet=off", "-fuzz", ".", "-o", program, "./"+t.folder); err != nil {
				return err
			}
		}
		inputs := fuzzInputs
		if t.folder == "checks/before" { // whole runs of the checks
			inputs = fuzzRuns
		}
		one, cancel := context.WithTimeout(ctx, fuzzMost)
		args := []string{
			"-test.run", "^$", "-test.fuzz", "^" + t.name + "$", "-test.fuzztime", fmt.Sprintf("%dx", inputs), "-test.fuzzminimizetime", "1s",
			"-test.fuzzcachedir", filepath.Join(strings.TrimSpace(string(cache)), "fuzz", "loadline", filepath.FromSlash(t.folder)),
		}
		fmt.Fprintf(speaker(ctx), "+ in %s: %s\n", t.folder, line(program, args))
		cmd := command(one, program, args...)
		cmd.Stdin, cmd.Dir = nil, filepath.FromSlash(t.folder) // what fails is written into its testdata
		release := ownGroup(cmd)
		errs = append(errs, failed(cmd.Run(), program, args))
		release()
		cancel()
	}
	return errors.Join(errs...)
}

// fuzzTargets finds the fuzz functions in all test files below root.
func fuzzTargets(root fs.FS) ([]target, error) {
	return testFunctions(root, "Fuzz", func([]byte) bool { return true })
}

// testFunctions finds the functions with a prefix in those test files below root that are wanted, in
// order of folder and file. Reading the sources is quick; go test -list would link every test first.
func testFunctions(root fs.FS, prefix string, wanted func(source []byte) bool) ([]target, error) {
	var found []target
	err := fs.WalkDir(root, ".", func(file string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() {
			if name := e.Name(); file != "." && (name == "testdata" || name[0] == '.' || name[0] == '_') {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(file, "_test.go") {
			return nil
		}
		source, err := fs.ReadFile(root, file)
		if err != nil {
			return err
		}
		if !wanted(source) {
			return nil
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), filepath.FromSlash(file), source, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, d := range parsed.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && strings.HasPrefix(f.Name.Name, prefix) {
				found = append(found, target{path.Dir(file), f.Name.Name})
			}
		}
		return nil
	})
	return found, err
}
