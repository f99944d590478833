//go:build linux && e2e

// The real window on a display of its own: what a person does with it, at two sizes.
package main_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"loadline/cmd/dev/e2e"
)

// Built once for all tests.
var window, command string

func TestMain(m *testing.M) {
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "loadline-e2e-")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(dir)
		window, command = filepath.Join(dir, "loadline"), filepath.Join(dir, "loadline-cli")
		for _, args := range [][]string{
			{"build", "-tags", "migrated_fynedo", "-o", window, "loadline/cmd/loadline"},
			{"build", "-o", command, "loadline/cmd/loadline-cli"},
		} {
			if out, err := exec.Command("go", args...).CombinedOutput(); err != nil {
				fmt.Fprintf(os.Stderr, "go %s: %v\n%s", strings.Join(args, " "), err, out)
				return 1
			}
		}
		return m.Run()
	}())
}

// The sizes of a usual screen and of the smallest one that must do.
var sizes = map[string][2]int{"1280x800": {1280, 800}, "900x600": {900, 600}}

// atSizes runs a test at every size, each with a fresh home and the window on the demo.
func atSizes(t *testing.T, do func(*testing.T, *e2e.Window)) {
	for name, s := range sizes {
		t.Run(name, func(t *testing.T) { do(t, demo(t, s[0], s[1])) })
	}
}

func demo(t *testing.T, width, height int) *e2e.Window {
	t.Helper()
	w := e2e.NewDisplay(t, width, height).Open(window, "-demo")
	w.Wait("the demo's source", func(s e2e.State) bool { return s.State == "idle" && s.Source != "" })
	return w
}

func over(s e2e.State) bool { return s.State == "done" }

// The main job: press Check, read the verdict, look at what is flagged, save the report, close.
func TestCheckAndSave(t *testing.T) {
	atSizes(t, func(t *testing.T, w *e2e.Window) {
		w.Shot("demo")
		w.Click("check")
		w.Wait("the run", func(s e2e.State) bool { return s.State != "idle" })
		s := w.Wait("a verdict", over)
		s = w.Settle()
		w.Shot("verdict")
		cards := 0
		for name := range s.At {
			if strings.HasPrefix(name, "card:") {
				cards++
			}
		}
		if cards < 6 {
			t.Errorf("only %d cards are in view with the verdict", cards)
		}

		said := runCommand(t, w, "-json")
		var report struct {
			Verdict string
			Checks  []struct {
				ID, Status string
				Findings   []struct{ Path string }
			}
		}
		if err := json.Unmarshal(said, &report); err != nil {
			t.Fatal(err)
		}
		want, paths := map[string]string{}, []string{}
		for _, c := range report.Checks {
			want[c.ID] = c.Status
			for _, f := range c.Findings {
				paths = append(paths, strings.ToLower(f.Path))
			}
		}
		if d := cmp.Diff(want, s.Checks); d != "" {
			t.Errorf("cards differ from the command's report (-command +window):\n%s", d)
		}
		if s.Verdict != report.Verdict {
			t.Errorf("the window's verdict is %q, the command's %q", s.Verdict, report.Verdict)
		}
		for _, status := range []string{"pass", "warn", "fail"} {
			if !slices.Contains(mapValues(s.Checks), status) {
				t.Errorf("no card of the demo shows %q", status)
			}
		}

		// Flagged files: all of them, then those that a filter leaves.
		w.Key("ctrl+f")
		s = w.Wait("the page of flagged files", func(s e2e.State) bool { return s.Page == "files" && s.Total > 0 })
		if s.Focus != "filter" {
			w.Click("filter")
			w.Wait("the keyboard at the filter", func(s e2e.State) bool { return s.Focus == "filter" })
		}
		all := s.Total
		w.Type("wav")
		left := 0
		for _, p := range paths {
			if strings.Contains(p, "wav") {
				left++
			}
		}
		w.Wait("the filter to hold", func(s e2e.State) bool { return s.Filter == "wav" && s.Rows < all })
		if s := w.Settle(); s.Rows != left || s.Total != len(paths) {
			t.Errorf("filter wav: %d of %d rows, the command's report has %d of %d", s.Rows, s.Total, left, len(paths))
		}
		w.Shot("filtered")
		w.Key("Escape", "Escape")
		w.Wait("the cards again", func(s e2e.State) bool { return s.Page == "checks" })

		// The report, by keyboard alone.
		file := filepath.Join(w.Home(), "report.txt")
		save(w, file)
		s = w.Wait("the report", func(s e2e.State) bool { return s.Saved == file && s.Dialog == "" })
		saved, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(plain(runCommand(t, w)), plain(saved)); d != "" {
			t.Errorf("the window's report differs from the command's (-command +window):\n%s", d)
		}

		// Never over an existing file unasked.
		if err := os.WriteFile(file, []byte("precious"), 0o600); err != nil {
			t.Fatal(err)
		}
		save(w, file)
		w.Wait("a question", func(s e2e.State) bool { return s.Dialog == "overwrite" })
		w.Shot("overwrite")
		w.Key("Escape")
		w.Wait("the question gone", func(s e2e.State) bool { return s.Dialog != "overwrite" })
		if b, _ := os.ReadFile(file); string(b) != "precious" {
			t.Error("an existing file was written over")
		}
		w.Key("Escape")
		w.Wait("no dialog", func(s e2e.State) bool { return s.Dialog == "" })

		// Looked at before the end: as it ends, the toolkit now and then reads its own settings
		// while it writes them, and complains.
		if said := w.Said(); said != "" {
			t.Errorf("the window should say nothing on its standard output and error, but said:\n%s", said)
		}
		w.AskClose()
		w.Ended()
		if left := w.Leftovers(); len(left) > 0 {
			t.Errorf("the demo left %q behind", left)
		}
	})
}

// save asks for the report to be saved to a file, by keyboard alone.
func save(w *e2e.Window, file string) {
	w.Key("ctrl+s")
	w.Wait("the dialog to save", func(s e2e.State) bool { return s.Dialog == "save" && s.Focus == "dialog-path" })
	w.Key("ctrl+a")
	w.Type(file)
	w.Key("Return")
}

// runCommand runs the command on the demo too, in the same home, and returns what it printed.
func runCommand(t *testing.T, w *e2e.Window, flags ...string) []byte {
	t.Helper()
	cmd := exec.Command(command, append([]string{"before", "-demo"}, flags...)...)
	cmd.Env = w.Env()
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if exit := new(exec.ExitError); err != nil && !(errors.As(err, &exit) && exit.ExitCode() == 1) {
		t.Fatalf("%v\n%s", err, complaints.String())
	}
	return out
}

var (
	demoFolder = regexp.MustCompile(`\S*/loadline-demo-[^/\s]*`)
	aDate      = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)`)
	measured   = regexp.MustCompile(`[\d,.]+ (ms|µs|s|min|h|days?|[kMGT]?B/s|[kMG]?b/s)\b( [\d,.]+ (s|min|h)\b)?`)
)

// plain is a report without what differs from run to run: dates, measured times and rates, the
// temporary folder, and the line breaks that follow from their lengths.
func plain(report []byte) []string {
	s := string(report)
	s = aDate.ReplaceAllString(s, "DATE")
	s = demoFolder.ReplaceAllString(s, "DEMO")
	s = strings.Join(strings.Fields(s), " ")
	s = measured.ReplaceAllString(s, "MEASURED")
	return strings.SplitAfter(s, ". ")
}

func mapValues(m map[string]string) (v []string) {
	for _, s := range m {
		v = append(v, s)
	}
	return v
}

// running opens the window on the whole machine, which no check gets through in a moment, and runs.
func running(t *testing.T) *e2e.Window {
	t.Helper()
	w := e2e.NewDisplay(t, 900, 600).Open(window, "/")
	w.Wait("the source", func(s e2e.State) bool { return s.Source == "/" })
	w.Key("ctrl+r")
	w.Wait("the run", func(s e2e.State) bool { return s.State == "running" })
	return w
}

// A run can be stopped, and then nothing is green that was not looked at.
func TestStop(t *testing.T) {
	w := running(t)
	w.Shot("running")
	w.Key("Escape")
	s := w.Wait("the run to end", func(s e2e.State) bool { return s.State != "running" })
	w.Shot("stopped")
	if s.State != "stopped" {
		t.Fatalf("the state after Stop is %q", s.State)
	}
	if s.Verdict == "pass" {
		t.Error("a run that was cut off ends with a good verdict")
	}
	for _, id := range []string{"permissions", "name-length", "name-characters", "symlinks"} {
		if got := s.Checks[id]; got == "pass" || got == "running" {
			t.Errorf("the card %s shows %q after a run that was cut off", id, got)
		}
	}

	// By mouse as well, and the next run starts afresh.
	w.Click("check")
	w.Wait("a second run", func(s e2e.State) bool { return s.State == "running" })
	w.Click("stop")
	w.Wait("the second run to stop", func(s e2e.State) bool { return s.State == "stopped" })
	small := t.TempDir()
	w.Drop("source", small)
	w.Wait("another source", func(s e2e.State) bool { return s.Source == small })
	w.Click("check")
	s = w.Wait("a run to its end", over)
	if got := s.Checks["permissions"]; got != "pass" {
		t.Errorf("the card permissions shows %q of an empty folder, want pass", got)
	}
}

// Folders dropped on the window become the source, or the share where they land on it.
func TestDrop(t *testing.T) {
	atSizes(t, func(t *testing.T, w *e2e.Window) {
		source, share := t.TempDir(), filepath.Join(t.TempDir(), "with space é")
		if err := os.Mkdir(share, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(source, "take 1.mov"), []byte("footage"), 0o644); err != nil {
			t.Fatal(err)
		}
		w.Drop("source", source)
		w.Wait("the dropped source", func(s e2e.State) bool { return s.Source == source })
		w.Drop("share", share)
		w.Wait("the dropped share", func(s e2e.State) bool { return s.Share == share && s.Source == source })
		w.Shot("dropped")
		w.Key("ctrl+r")
		s := w.Wait("a verdict", over)
		// Both are on one disk, and that is no mounted share: never green.
		if s.Checks["share-mounted"] != "fail" || s.Verdict != "fail" {
			t.Errorf("two folders of one disk: share-mounted is %q, the verdict %q, want fail", s.Checks["share-mounted"], s.Verdict)
		}
		if left, _ := os.ReadDir(share); len(left) > 0 {
			t.Errorf("the share holds %d entries after the run, want none", len(left))
		}
		w.Shot("checked")
	})
}

func TestTheme(t *testing.T) {
	atSizes(t, func(t *testing.T, w *e2e.Window) {
		was := w.State().Theme
		if was != "light" && was != "dark" {
			t.Fatalf("theme %q", was)
		}
		w.Click("theme")
		w.Wait("the other theme", func(s e2e.State) bool { return s.Theme != was && s.Theme != "" })
		w.Key("ctrl+r")
		w.Wait("a verdict", over)
		w.Shot("other-theme")
		w.Click("theme")
		w.Wait("the first theme again", func(s e2e.State) bool { return s.Theme == was })
	})
}

// What cannot be checked is said in words, and typing is enough to put it right.
func TestMissingFolder(t *testing.T) {
	w := e2e.NewDisplay(t, 900, 600).Open(window)
	missing := filepath.Join(w.Home(), "no such folder")
	w.Replace("source", missing)
	w.Wait("the typed source", func(s e2e.State) bool { return s.Source == missing })
	w.Key("ctrl+r")
	s := w.Wait("a sentence about it", func(s e2e.State) bool { return s.Message != "" })
	w.Shot("missing")
	if s.State == "running" || s.Verdict == "pass" || !strings.Contains(s.Message, "no such folder") {
		t.Errorf("state %q, verdict %q, message %q", s.State, s.Verdict, s.Message)
	}
	there := t.TempDir()
	if err := os.WriteFile(filepath.Join(there, "a.mov"), []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	w.Replace("source", there)
	w.Key("Return", "ctrl+r")
	s = w.Wait("a verdict", over)
	if s.Source != there || s.Checks["share-mounted"] != "unknown" {
		t.Errorf("source %q; without a share share-mounted is %q, want unknown", s.Source, s.Checks["share-mounted"])
	}
	w.Shot("source-only")
	w.AskClose()
	w.Ended()

	// The choice is remembered.
	again := w.Display.Open(window)
	again.Wait("the remembered source", func(s e2e.State) bool { return s.Source == there })
}

// Closing while a run goes on asks first.
func TestCloseWhileRunning(t *testing.T) {
	w := running(t)
	w.AskClose()
	w.Wait("a question", func(s e2e.State) bool { return s.Dialog == "close" })
	w.Shot("close")
	w.Click("dialog-no")
	s := w.Wait("the question gone", func(s e2e.State) bool { return s.Dialog == "" })
	if s.State != "running" {
		t.Errorf("the state is %q after closing was called off, want running", s.State)
	}
	w.AskClose()
	w.Wait("the question again", func(s e2e.State) bool { return s.Dialog == "close" })
	w.Click("dialog-yes")
	w.Ended()
}

// However a demo ends, its folder goes: with the window where that is asked to end, else with the next
// start of the program.
func TestDemoGoes(t *testing.T) {
	for name, sig := range map[string]syscall.Signal{"asked": syscall.SIGTERM, "hung up": syscall.SIGHUP} {
		t.Run(name, func(t *testing.T) {
			w := demo(t, 900, 600)
			if err := syscall.Kill(w.Process(), sig); err != nil {
				t.Fatal(err)
			}
			w.Ended()
			if left := w.Leftovers(); len(left) > 0 {
				t.Errorf("it left %q behind", left)
			}
		})
	}
	t.Run("killed", func(t *testing.T) {
		w := demo(t, 900, 600)
		w.Kill()
		if len(w.Leftovers()) == 0 {
			t.Fatal("a killed demo should leave its folder")
		}
		w.Run(window, t.TempDir())
		for end := time.Now().Add(e2e.Patience); len(w.Leftovers()) > 0; {
			if time.Now().After(end) {
				t.Fatalf("the next start left %q", w.Leftovers())
			}
		}
	})
}
