package gui

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/gui/kit"
)

// readCard is the card of the check that reads every file, shown on a window of its own.
func readCard(t *testing.T, width float32, res *checks.Result, do cardActions) (*card, fyne.Window) {
	t.Helper()
	fyne.CurrentApp().Settings().SetTheme(&kit.Theme{Mode: kit.Light})
	c := sampleCheck(checkReads, "Every file reads to its last byte", checks.GroupFiles)
	l := newCardList([]*checks.Check{c}, do)
	k := l.cards[0]
	if res != nil {
		res.Check, res.ID, res.Title = c, c.ID, c.Title
		k.show(res.Status, res, "")
		l.finish(&checks.Report{Stage: checks.Before, Checks: []checks.Result{*res}})
	}
	k.setOpen(true)
	w := test.NewTempWindow(t, container.NewStack(k))
	w.SetPadded(false)
	w.Resize(fyne.NewSize(width, k.HeightFor(width)))
	return k, w
}

// wholeRead is what a reading with two bad places found: a rate that falls towards the middle of the disk, as
// the tracks grow shorter.
func wholeRead() *checks.Result {
	var curve []digest.Point
	for i := range int64(60) {
		rate := 210e6 - float64(i)*1.6e6
		if i == 31 {
			rate /= 9
		}
		curve = append(curve, digest.Point{At: (i + 1) * 30e9, Rate: rate})
	}
	return &checks.Result{
		Status: checks.Failed, Summary: "2 of 412,906 files cannot be read to the last byte.",
		Facts: []checks.Fact{
			{Key: "kept_awake", Value: true, Text: "This computer was kept awake meanwhile: a lock of the desktop"},
			{Key: "rates", Value: curve, Text: "Rate over the disk: 162 MB/s in the middle, 18 MB/s at its slowest, 210 MB/s at its fastest"},
			{Key: "bad_at", Value: []int64{945e9, 946e9, 1400e9}, Text: "Bad places on the way: 3"},
		},
	}
}

// What the card looks like before and after the whole disk was read.
func TestReadingCard(t *testing.T) {
	for name, res := range map[string]*checks.Result{
		"waiting": nil,
		"asked":   {Status: checks.Unknown, Optional: true, Reason: "Nothing was read yet: reading 1.8 TB takes about 3 h 22 min at 150 MB/s."},
		"read":    wholeRead(),
	} {
		for _, width := range []float32{1000, 600} {
			t.Run(fmt.Sprintf("%s-%d", name, int(width)), func(t *testing.T) {
				test.NewTempApp(t)
				k, w := readCard(t, width, res, cardActions{files: func(*checks.Check) {}, read: func() {}})
				if k.read == nil {
					t.Fatal("the card does not offer to read the whole disk")
				}
				golden(t, fmt.Sprintf("reading-%s-%d", name, int(width)), w.Canvas())
			})
		}
	}
}

// A card whose check has passed offers nothing: all of it was read, now or before.
func TestNothingLeftToRead(t *testing.T) {
	test.NewTempApp(t)
	if k, _ := readCard(t, 1000, &checks.Result{Status: checks.Passed, Summary: "All read."}, cardActions{read: func() {}}); k.read != nil {
		t.Error("the card offers to read what was read")
	}
	k, _ := readCard(t, 1000, nil, cardActions{})
	if k.read != nil {
		t.Error("a stage without a reading offers one")
	}
}

// The button starts a run that reads, with the keyboard on Stop; the usual one does not read, and both know what
// was read before.
func TestReadAll(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	k, _ := readCard(t, 1000, nil, cardActions{read: r.ReadAll})
	test.Tap(k.read)
	if r.running != "" || r.win.Canvas().Focused() != r.view().setup.from.path {
		t.Fatal("without a source the keyboard is not led to its field")
	}
	r.Open(sampleSource, sampleShare)
	test.Tap(k.read)
	c := r.began()
	if !c.req.Read || c.req.Job.State != r.desktop.StateDir {
		t.Errorf("the run reads %t and remembers in %q, want true and %q", c.req.Read, c.req.Job.State, r.desktop.StateDir)
	}
	if r.win.Canvas().Focused() != r.view().head.stop {
		t.Error("the keyboard is not on Stop")
	}
	test.Tap(k.read)
	if r.message == "" {
		t.Error("nothing is said to who asks again during the run")
	}
	r.Stop()
	r.until("the stop", func() bool { return r.running == "" })
	c = r.start()
	if c.req.Read || c.req.Job.State != r.desktop.StateDir {
		t.Errorf("the usual run reads %t and looks in %q, want false and %q", c.req.Read, c.req.Job.State, r.desktop.StateDir)
	}
	r.halt()
}

// What the real checks read in one run is remembered for the next, which reads nothing.
func TestReadAllIsRemembered(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Window.engine = RealEngine()
	source := t.TempDir()
	for _, name := range []string{"a.mov", "b.mov", "c.wav"} {
		if err := os.WriteFile(filepath.Join(source, name), []byte("what stands in "+name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r.Open(source, "")
	result := func(run func()) *checks.Result {
		t.Helper()
		r.view().report = nil
		run()
		r.until("the end of the run", func() bool { return r.running == "" && r.view().report != nil })
		return r.view().report.Result(checkReads)
	}
	if res := result(r.Check); res.Status != checks.Unknown {
		t.Errorf("nothing was read, and the check says %s", res.Status)
	}
	if n, _ := whole(result(r.ReadAll), "files_read"); n != 3 {
		t.Errorf("%d of 3 files were read", n)
	}
	res := result(r.Check)
	if n, _ := whole(res, "remembered"); n != 3 || res.Status == checks.Unknown {
		t.Errorf("%d of 3 files are remembered: %s, %s", n, res.Status, res.Summary)
	}
}

// Files of equal content have a list of their own, to be saved: each with the file that it equals, and no other
// finding.
func TestEqualFiles(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	v := r.view()
	real := RealEngine().List(checks.Before)
	v.list = newCardList(real, cardActions{files: func(c *checks.Check) { r.showFiles(c) }, equal: r.showEqual})
	v.list.page.SetAbove(kit.NewColumn(kit.GapMid, v.head.box, v.setup.box), viewLow)
	r.show(pageChecks)
	rep := sample()
	rep.Checks = nil
	for _, c := range real {
		res := checks.Result{Check: c, ID: c.ID, Title: c.Title, Status: checks.Passed}
		if c.ID == checkReads {
			rule := func(id string) *checks.Rule {
				return c.Rules[slices.IndexFunc(c.Rules, func(r *checks.Rule) bool { return r.ID == id })]
			}
			res.Status = checks.Failed
			res.Findings = []checks.Finding{
				{Path: "day 1/bad.mov", Rule: rule("read-fails"), Level: checks.Fail, Detail: "Input/output error"},
				{Path: "day 2/copy.mov", Rule: rule(ruleSameContent), Level: checks.Note, Size: 5_000_000, Detail: "the same content as day 1/a.mov"},
			}
			res.Rules = map[string]int64{ruleSameContent: 1, "read-fails": 1}
			res.Levels = [3]int{checks.Fail: 1, checks.Note: 1}
		}
		rep.Checks = append(rep.Checks, res)
	}
	r.done(rep)
	k := r.view().list.byID[checkReads]
	k.setOpen(true)
	list := buttons(k, "List equal files")
	if len(list) != 1 {
		t.Fatalf("the card offers %d lists of equal files:\n%s", len(list), words(k))
	}
	test.Tap(list[0])
	p := r.files
	r.until("the list", func() bool { return p.model.rows() == 1 })
	test.Tap(p.save)
	path := filepath.Join(t.TempDir(), "equal.txt")
	r.sheet.Field.SetText(path)
	test.Tap(r.sheet.Yes)
	r.until("the file", func() bool { return r.saved == path })
	got, err := os.ReadFile(path)
	if err != nil || string(got) != "Note\tday 2/copy.mov\tsame-content\tthe same content as day 1/a.mov\n" {
		t.Errorf("saved is %q (%v)", got, err)
	}
}
