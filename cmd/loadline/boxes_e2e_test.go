//go:build linux && e2e

package main_test

import (
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"loadline/cmd/dev/e2e"
)

// A disk is dealt out to two boxes by the keyboard alone, and the lists are those of the command. Then a second
// disk is added to the job, and the cards are those of the command too.
func TestBoxesAndDisks(t *testing.T) {
	top := t.TempDir()
	for name, size := range map[string]int64{"one/day 1/a.mov": 30_000, "one/day 2/b.mov": 15_000, "one/day 3/c.mov": 16_000, "two/day 1/what?.mov": 9} {
		file := filepath.Join(top, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, make([]byte, size), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	one, two := filepath.Join(top, "one"), filepath.Join(top, "two")
	w := e2e.NewDisplay(t, 900, 600).Open(window, one)
	w.Wait("the source", func(s e2e.State) bool { return s.Source == one })

	w.Key("ctrl+b")
	w.Wait("the page for more boxes", func(s e2e.State) bool { return s.Page == "split" && s.Focus == "box-1" })
	w.Type("64 kB")
	w.Key("Tab", "Tab")
	w.Wait("the second box", func(s e2e.State) bool { return s.Focus == "box-2" })
	w.Type("60 kB")
	w.Key("Tab", "Tab", "Tab") // past its button and “Add a box”
	w.Wait("how many files and folders each takes", func(s e2e.State) bool { return s.Focus == "box-entries" })
	w.Type("5")
	w.Key("Return")
	w.Wait("what goes into which box", func(s e2e.State) bool { return s.Focus == "choice-1" && s.Rows > 0 })
	w.Shot("divided")
	w.Key("shift+Tab", "shift+Tab")
	w.Wait("the button to save", func(s e2e.State) bool { return s.Focus == "save-lists" })
	w.Key("Return")
	w.Wait("the dialog to save", func(s e2e.State) bool { return s.Dialog == "save-lists" && s.Focus == "dialog-path" })
	lists := filepath.Join(w.Home(), "lists")
	w.Key("ctrl+a")
	w.Type(lists)
	w.Key("Return")
	s := w.Wait("the lists, or a question", func(s e2e.State) bool {
		return s.Saved == lists || strings.Contains(s.Message, "press Save again") // home is on the source's disk
	})
	if s.Saved == "" {
		w.Key("Return")
		w.Wait("the lists", func(s e2e.State) bool { return s.Saved == lists && s.Dialog == "" })
	}
	w.Shot("saved")
	same := filepath.Join(t.TempDir(), "lists")
	if out, err := exec.Command(command, "split", "-box", "64kB", "-box", "60kB", "-inodes", "5", "-o", same, one).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, name := range []string{"box-1.list", "box-2.list"} {
		got, errGot := os.ReadFile(filepath.Join(lists, name))
		want, errWant := os.ReadFile(filepath.Join(same, name))
		if errors.Join(errGot, errWant) != nil || string(got) != string(want) || len(got) == 0 {
			t.Errorf("%s is %q, the command's is %q (%v, %v)", name, got, want, errGot, errWant)
		}
	}

	w.Key("Escape")
	w.Wait("the cards", func(s e2e.State) bool { return s.Page == "checks" })
	w.Click("add-disk")
	w.Wait("a row for it", func(s e2e.State) bool { return s.Focus == "disk-2" })
	w.Type(two)
	w.Key("ctrl+r")
	s = w.Wait("a verdict", over)
	w.Shot("two disks")
	var report struct {
		Verdict string
		Checks  []struct{ ID, Status string }
	}
	said, err := exec.Command(command, "before", "-json", "-with", "two="+two, one).Output()
	if ended := (*exec.ExitError)(nil); err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	if err := json.Unmarshal(said, &report); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{}
	for _, c := range report.Checks {
		want[c.ID] = c.Status
	}
	if d := cmp.Diff(want, s.Checks); d != "" || s.Verdict != report.Verdict {
		t.Errorf("the verdict is %q, the command's %q; cards differ (-command +window):\n%s", s.Verdict, report.Verdict, d)
	}
	w.Key("ctrl+f")
	w.Wait("the page of flagged files", func(s e2e.State) bool { return s.Page == "files" && s.Total > 0 })
	w.Shot("files of two disks")
	w.AskClose()
	w.Ended()
}
