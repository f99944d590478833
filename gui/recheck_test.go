package gui

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/gui/kit"
)

// A copy is rechecked by the real checks, by keyboard alone: what is missing and what differs is found, and a
// copy that is whole passes.
func TestRecheck(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	real := RealEngine()
	r.Window.engine.Run = real.Run
	m := writeManifest(t, "2026", map[string]string{"day 1/a.mov": "first", "day 2/b.mov": "second one"}, "day 1/a.mov", "day 2/b.mov")
	folder := t.TempDir()
	put := func(name, text string) {
		t.Helper()
		name = filepath.Join(folder, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r.setStage(checks.Arrival)
	r.view().setup.from.put(m)
	r.win.Canvas().Focus(r.view().head.side)
	r.key("Return")
	v := r.view()
	if v.stage != checks.Recheck || v.setup.from.get() != m || r.win.Canvas().Focused() != v.setup.to.path {
		t.Fatalf("shown is %s with the manifest %q; the keyboard is not at the folder of the copy", v.stage, v.setup.from.get())
	}
	// The cards are the real checks', as the window shows them outside a test.
	v.list = newCardList(real.List(checks.Recheck), cardActions{files: func(c *checks.Check) { r.showFiles(c) }})
	v.list.page.SetAbove(kit.NewColumn(kit.GapMid, v.head.box, v.setup.box), viewLow)
	r.show(pageChecks)
	v.setup.to.put(folder)
	run := func() {
		t.Helper()
		v.setup.setFolded(false)
		r.win.Canvas().Focus(v.setup.to.path)
		r.key("Return")
		r.until("the end of the run", func() bool { return r.running == "" && v.report != nil })
		r.settle()
	}
	put("day 1/a.mov", "First")
	run()
	if v.report.Verdict != checks.Failed || flagged(v.report) != 2 || !v.head.files.Visible() {
		t.Errorf("verdict %s with %d findings, want one file missing and one that differs", v.report.Verdict, flagged(v.report))
	}
	if !strings.Contains(v.head.title.Text, "not what the manifest says") {
		t.Errorf("the answer is %q", v.head.title.Text)
	}
	put("day 1/a.mov", "first")
	put("day 2/b.mov", "second one")
	run()
	if v.report.Verdict != checks.Passed || flagged(v.report) != 0 {
		t.Errorf("verdict %s with %d findings of a whole copy", v.report.Verdict, flagged(v.report))
	}
	if kept, err := loadChoices(r.desktop.StateDir); err != nil || string(kept.Copy) != folder {
		t.Errorf("kept for the next start: %q, %v", kept.Copy, err)
	}
}

// The last recheck opens again with its manifest and its folder.
func TestLastRecheck(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	m := writeManifest(t, "", map[string]string{"a.mov": "first"}, "a.mov")
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "a.mov"), []byte("first"), 0o600); err != nil {
		t.Fatal(err)
	}
	rep, err := runReal(context.Background(), Request{Job: checks.Job{Stage: checks.Recheck, Source: folder}, Manifest: m}, func(checks.Event) {})
	if err != nil {
		t.Fatal(err)
	}
	if err := writeLast(r.desktop.StateDir, rep); err != nil {
		t.Fatal(err)
	}
	r.Window.engine = RealEngine()
	r.showRecheck()
	r.openLast()
	r.until("the report", func() bool { return r.view().report != nil })
	v := r.view()
	if v.setup.from.get() != m || v.setup.to.get() != rep.Source.Path || v.report.Verdict != rep.Verdict {
		t.Errorf("opened with %q and %q, %s", v.setup.from.get(), v.setup.to.get(), v.report.Verdict)
	}
}

// What is no share of a hundred is told, and starts nothing.
func TestRecheckSample(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.showRecheck()
	v := r.view()
	v.setup.from.put("/manifest")
	v.setup.to.put("/copy")
	for _, bad := range []string{"0", "-1", "101", "NaN", "a tenth"} {
		v.setup.portion.percent.SetText(bad)
		test.Tap(v.head.check)
		if r.running != "" || !v.setup.portion.problem.Visible() {
			t.Errorf("a sample of %q is taken", bad)
			r.halt()
		}
	}
	for text, want := range map[string]float64{"": 0, "100": 100, " 2.5 % ": 2.5} {
		v.setup.portion.percent.SetText(text)
		test.Tap(v.head.check)
		c := r.began()
		if c.req.Sample != want || c.req.Manifest != "/manifest" || c.req.Source != "/copy" || c.req.State != r.desktop.StateDir {
			t.Errorf("%q asks the engine for %v of %q and %q", text, c.req.Sample, c.req.Manifest, c.req.Source)
		}
		r.halt()
		v.setup.setFolded(false)
	}
}
