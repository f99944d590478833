package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestFindManager(t *testing.T) {
	for program, want := range map[string]string{"apt-get": "apt", "dnf": "dnf", "pacman": "pacman", "other": ""} {
		got := ""
		m := findManager(func(name string) (string, error) {
			if name == program {
				return name, nil
			}
			return "", exec.ErrNotFound
		})
		if m != nil {
			got = m.name
		}
		if got != want {
			t.Errorf("with %s: got %q, want %q", program, got, want)
		}
	}
}

func TestManagersAreWhole(t *testing.T) {
	for _, m := range managers {
		for _, n := range []need{needWindow, needTests} {
			if len(m.packages[n]) == 0 {
				t.Errorf("%s has no packages for need %d", m.name, n)
			}
		}
		all := slices.Concat(m.packages[needWindow], m.packages[needTests])
		slices.Sort(all)
		if n := len(slices.Compact(slices.Clone(all))); n != len(all) {
			t.Errorf("%s names a package twice: %v", m.name, all)
		}
		cmd := m.install([]string{"a", "b"})
		if cmd[0] != m.program || !slices.Equal(cmd[len(cmd)-2:], []string{"a", "b"}) {
			t.Errorf("%s installs by %v", m.name, cmd)
		}
		if (m.refresh == nil) != (m.stale == nil) {
			t.Errorf("%s must have both or neither of refresh and stale", m.name)
		}
	}
}

// A package that was removed but not purged has a line with another status.
func TestWithout(t *testing.T) {
	out := "gcc installed\nxvfb config-files\npax not-installed\nodd\n"
	got := without([]string{"gcc", "xvfb", "pax", "unheard"}, out, "installed")
	if d := cmp.Diff([]string{"xvfb", "pax", "unheard"}, got); d != "" {
		t.Error(d)
	}
}

func TestStale(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	if !stale(dir, now.Add(-time.Hour)) {
		t.Error("no list at all must be stale")
	}
	if err := os.WriteFile(filepath.Join(dir, "archive_main_binary-amd64_Packages.lz4"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	partial := filepath.Join(dir, "partial")
	if err := os.Mkdir(partial, 0o700); err != nil {
		t.Fatal(err)
	}
	for age, want := range map[time.Duration]bool{time.Minute: false, 2 * time.Hour: true} {
		if err := os.Chtimes(partial, now, now.Add(-age)); err != nil {
			t.Fatal(err)
		}
		if got := stale(dir, now.Add(-time.Hour)); got != want {
			t.Errorf("updated %s ago, limit an hour: stale %v", age, got)
		}
	}
}

func TestChoose(t *testing.T) {
	all := []step{{name: "a"}, {name: "b"}, {name: "c"}}
	names := func(list []step) (n []string) {
		for _, s := range list {
			n = append(n, s.name)
		}
		return n
	}
	for list, want := range map[string]string{"": "a b c", "b": "b", "c,a": "c a"} {
		got, err := choose(all, list)
		if err != nil || strings.Join(names(got), " ") != want {
			t.Errorf("-only %q: %v, %v; want %s", list, names(got), err, want)
		}
	}
	if _, err := choose(all, "a,nosuch"); err == nil {
		t.Error("a step that does not exist was taken")
	}
}

func TestStepsGoOnAfterAFailure(t *testing.T) {
	for atATime := 1; atATime <= 4; atATime++ {
		var out strings.Builder
		say := func(name string, err error) step {
			return step{name, "title " + name, nil, func(ctx context.Context) error {
				fmt.Fprintln(speaker(ctx), "this is "+name)
				return err
			}}
		}
		lines, failures := runSteps(t.Context(), &out, []step{say("a", nil), say("b", errors.New("no")), say("c", nil)}, atATime)
		if d := cmp.Diff([]string{"b"}, failures); d != "" {
			t.Error(d)
		}
		for i, want := range []string{"ok", "FAILED", "ok"} {
			if !strings.HasPrefix(lines[i], want+" ") {
				t.Errorf("line %d is %q, want %s first", i, lines[i], want)
			}
		}
		said := regexp.MustCompile(`, [0-9.]+m?s\n`).ReplaceAllString(out.String(), "\n")
		const want = "\n## a: title a\nthis is a\n## a: ok\n" +
			"\n## b: title b\nthis is b\nb: no\n## b: FAILED\n" +
			"\n## c: title c\nthis is c\n## c: ok\n"
		if d := cmp.Diff(want, said); d != "" {
			t.Errorf("%d at a time: %s", atATime, d)
		}
	}
}

// The second step ends before the first goes on, and is shown after it; a program is a speaker too.
func TestStepsRunSideBySide(t *testing.T) {
	var out strings.Builder
	second := make(chan struct{})
	lines, failures := runSteps(t.Context(), &out, []step{
		{"a", "A", nil, func(ctx context.Context) error { <-second; return run(ctx, "go", "env", "GOVERSION") }},
		{"b", "B", nil, func(ctx context.Context) error {
			defer close(second)
			return run(ctx, "go", "no-such-command")
		}},
	}, 2)
	if d := cmp.Diff([]string{"b"}, failures); d != "" || len(lines) != 2 {
		t.Errorf("%d lines, %s", len(lines), d)
	}
	a, b, ok := strings.Cut(out.String(), "\n## b: B\n")
	if !ok || !strings.Contains(a, "\ngo1") || !strings.Contains(b, "unknown command") || !strings.HasPrefix(a, "\n## a: A\n") {
		t.Errorf("said %q", out.String())
	}
}

func TestStepsEndOnInterrupt(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	lines, _ := runSteps(ctx, io.Discard, []step{
		{"a", "", nil, func(context.Context) error { cancel(); return nil }},
		{"b", "", nil, func(context.Context) error { t.Error("b ran after the interrupt"); return nil }},
	}, 1)
	if !strings.HasPrefix(lines[1], "not run") {
		t.Errorf("the summary says %q of a step that did not run", lines[1])
	}
}

func TestFuzzTargets(t *testing.T) {
	file := func(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }
	got, err := fuzzTargets(fstest.MapFS{
		"p/a_test.go":          file("package p\nimport \"testing\"\nfunc FuzzA(f *testing.F) {}\nfunc TestB(t *testing.T) {}\nfunc (x) FuzzC() {}\n// func FuzzD(\n"),
		"p/q/z_linux_test.go":  file("package q_test\nimport \"testing\"\nfunc FuzzZ(f *testing.F) {}\n"),
		"p/a.go":               file("package p\nfunc FuzzNot() {}\n"),
		"p/testdata/x_test.go": file("not Go"),
		".git/x_test.go":       file("not Go"),
	})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]target{{"p", "FuzzA"}, {"p/q", "FuzzZ"}}, got, cmp.AllowUnexported(target{})); d != "" {
		t.Error(d)
	}
	if _, err := fuzzTargets(fstest.MapFS{"x_test.go": file("not Go")}); err == nil {
		t.Error("a test file that cannot be parsed was passed over")
	}
}

func TestWithoutRace(t *testing.T) {
	got, err := testFunctions(fstest.MapFS{
		"p/a_test.go": {Data: []byte("//go:build linux && !race\n\npackage p\nimport \"testing\"\nfunc TestA(t *testing.T) {}\n")},
		"p/b_test.go": {Data: []byte("//go:build race\n\npackage p\nimport \"testing\"\nfunc TestB(t *testing.T) {}\n")},
		"p/c_test.go": {Data: []byte("package p\nimport \"testing\"\n// !race\nfunc TestC(t *testing.T) {}\n")},
	}, "Test", withoutRace)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]target{{"p", "TestA"}}, got, cmp.AllowUnexported(target{})); d != "" {
		t.Error(d)
	}
}

func TestLine(t *testing.T) {
	if got, want := line("go", []string{"run", "a b", "it's", "", "-x=1"}), `go run 'a b' 'it'\''s' '' -x=1`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestUnknownCommand(t *testing.T) {
	t.Chdir(".") // do changes the folder; this puts it back
	for _, args := range [][]string{nil, {"stop"}, {"test", "-only", "nosuch"}, {"test", "extra"}} {
		if err := do(t.Context(), args); err == nil {
			t.Errorf("dev %v ended without an error", args)
		}
	}
}

func TestModuleRoot(t *testing.T) {
	top := t.TempDir()
	if err := os.WriteFile(filepath.Join(top, "go.mod"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	deep := filepath.Join(top, "a", "b")
	if err := os.MkdirAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	t.Chdir(deep)
	got, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	if same(t, got) != same(t, top) {
		t.Errorf("got %s, want %s", got, top)
	}
}

// same resolves links: temporary folders are behind one on macOS.
func same(t *testing.T, path string) string {
	t.Helper()
	path, err := filepath.EvalSymlinks(path)
	if errors.Is(err, fs.ErrNotExist) {
		return path
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// What a cut-off step started must not live on: the pipe's other end closes only when all that hold
// it are gone.
func TestRunEndsAllItStarted(t *testing.T) {
	if runtime.GOOS == "windows" {
		return // no process groups and no sh there
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	ctx, cancel := context.WithCancel(t.Context())
	cmd := command(ctx, "sh", "-c", "trap '' INT; sleep 1000 & echo; exec sleep 1000")
	cmd.Stdin, cmd.Stdout, cmd.WaitDelay = nil, w, time.Millisecond
	end := ownGroup(cmd)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	w.Close()
	if _, err := r.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	cancel()
	if cmd.Wait() == nil {
		t.Error("a program that was cut off ended well")
	}
	end()
	if n, err := r.Read(make([]byte, 1)); !errors.Is(err, io.EOF) {
		t.Errorf("read %d bytes and %v, want the end of the pipe", n, err)
	}
}

func TestTemporary(t *testing.T) {
	top := t.TempDir()
	use := func(dir string) {
		for _, name := range []string{"TMPDIR", "TMP", "TEMP"} {
			t.Setenv(name, dir)
		}
	}
	for range 2 { // the second time the folder is there already
		use(top)
		if err := temporary(); err != nil {
			t.Fatal(err)
		}
	}
	dir := os.TempDir()
	if info, err := os.Stat(dir); err != nil || filepath.Dir(dir) != top || runtime.GOOS != "windows" && info.Mode() != fs.ModeDir|fs.ModeSticky|0o777 {
		t.Errorf("%s: %v, %v", dir, info, err)
	}
	if runtime.GOOS == "windows" {
		return // links take rights there
	}
	other := t.TempDir()
	use(other)
	if err := os.Symlink(top, filepath.Join(other, fmt.Sprintf("loadline-test-%d", os.Getuid()))); err != nil {
		t.Fatal(err)
	}
	if err := temporary(); err == nil {
		t.Error("a link that somebody laid was taken for the folder")
	}
}
