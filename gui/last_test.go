package gui

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/demo"
	"loadline/gui/kit"
)

// A kept report gives the same text when it is opened again, raw names included.
func TestLastReport(t *testing.T) {
	rep := sample()
	rep.Checks[3].Findings[0].Path = "day 01/caf\xe9\u202e.mov"
	dir := t.TempDir()
	if err := writeLast(dir, rep); err != nil {
		t.Fatal(err)
	}
	got, err := readLast(dir, checks.Before, sampleChecks[checks.Before])
	if err != nil {
		t.Fatal(err)
	}
	text := func(r *checks.Report) string {
		var b bytes.Buffer
		if err := r.WriteText(&b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	if text(got) != text(rep) {
		t.Errorf("the report changed by being kept:\n%s\nwas\n%s", text(got), text(rep))
	}
	if got.Checks[3].Findings[0].Path != rep.Checks[3].Findings[0].Path {
		t.Error("a raw name changed by being kept")
	}
}

// A report with checks or rules that this program lacks does not open: what is unknown must not be
// left out silently.
func TestLastReportOfAnotherVersion(t *testing.T) {
	dir := t.TempDir()
	if err := writeLast(dir, sample()); err != nil {
		t.Fatal(err)
	}
	if _, err := readLast(dir, checks.Before, sampleChecks[checks.Before][:3]); err == nil || !strings.Contains(err.Error(), "lacks") {
		t.Errorf("got %v", err)
	}
	if err := os.WriteFile(lastFile(dir, checks.Before), []byte("no report"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := readLast(dir, checks.Before, sampleChecks[checks.Before]); err == nil {
		t.Error("a broken file opened")
	}
}

// The last report opens again in the next start, and says from when it is.
func TestOpenLast(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(sample())
	win := test.NewTempWindow(t, nil)
	w := New(win, Engine{List: r.engine.list, Run: r.engine.run}, r.desktop)
	r.Window = w
	if w.bar.last.Disabled() {
		t.Fatal("the last report should be on offer")
	}
	test.Tap(w.bar.last)
	r.until("the report", func() bool { return w.view().report != nil })
	if w.view().head.title.Text != "Do not copy yet" || w.view().setup.from.get() != sampleSource {
		t.Errorf("shows %q of %q", w.view().head.title.Text, w.view().setup.from.get())
	}
	if !strings.Contains(w.message, "14 September 2026") {
		t.Errorf("said %q", w.message)
	}
	if !w.view().list.byID["free-space"].picture.Visible() {
		t.Error("the gauge of a kept report is missing")
	}
}

// A demo's report and folders are not kept for the next start.
func TestDemoIsNotKept(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	d, err := demo.New()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() })
	r.Demo(d)
	test.Tap(r.view().head.check)
	r.began().end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
	r.Close()
	if c, err := loadChoices(r.desktop.StateDir); err != nil || len(c.Source) > 0 {
		t.Errorf("kept %+v (%v)", c, err)
	}
	if r.hasLast(checks.Before) {
		t.Error("a demo's report was kept")
	}
}

// What an earlier start left half written goes after an hour; what may still be written stays.
func TestSweep(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	for name, age := range map[string]time.Duration{".window.json.1.part": 2 * time.Hour, ".last-before.gob.gz.1.part": 2 * time.Hour, ".window.json.2.part": time.Minute, ".other.1.part": 2 * time.Hour, "window.json": 99 * time.Hour} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(filepath.Join(dir, name), now.Add(-age), now.Add(-age)); err != nil {
			t.Fatal(err)
		}
	}
	sweep(dir, now)
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 3 || left[0].Name() != ".other.1.part" || left[1].Name() != ".window.json.2.part" || left[2].Name() != "window.json" {
		t.Errorf("left: %v (%v)", left, err)
	}
}
