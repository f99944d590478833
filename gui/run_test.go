package gui

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/storage"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/demo"
	"loadline/gui/kit"
)

// The button starts the engine with what the fields hold, cards fill in as events come, and the
// verdict comes last.
func TestCheckFillsCards(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(sampleSource, sampleShare)
	o := r.view().setup.options
	o.prefix.SetText("2026/harvest")
	o.uplink.SetText("20")
	o.battery.SetText("5.5")
	o.link.SetText("1 Gb/s")
	test.Tap(r.view().head.check)
	c := r.began()
	want := checks.Job{Stage: checks.Before, Source: sampleSource, Share: sampleShare, Prefix: "2026/harvest", Uplink: 20e6, Link: 1e9, Battery: 330 * time.Minute, Version: "test"}
	if got := c.req.Job; got.Source != want.Source || got.Share != want.Share || got.Prefix != want.Prefix || got.Uplink != want.Uplink || got.Link != want.Link || got.Battery != want.Battery || got.Stage != want.Stage {
		t.Errorf("the engine was asked for %+v, want %+v", got, want)
	}
	if !r.view().setup.from.path.Disabled() || r.view().head.check.Visible() || !r.view().head.stop.Visible() {
		t.Error("while it runs the fields should be locked, and Stop stand in the place of Check")
	}
	rep := sample()
	k := r.view().list.byID["name-length"]
	c.watch(checks.Event{Check: k.check})
	r.until("a running card", func() bool { return k.status == checks.Running })
	c.watch(checks.Event{Check: k.check, Result: rep.Result("name-length")})
	r.until("its result", func() bool { return k.status == checks.Failed })
	if r.view().list.byID["copy-time"].status != checks.Waiting {
		t.Error("a card that has not ended should still wait")
	}
	c.end <- ending{rep: rep}
	r.until("the end", func() bool { return r.running == "" })
	if got := r.view().head.title.Text; got != "Do not copy yet" {
		t.Errorf("the verdict is %q", got)
	}
	if got := r.view().head.tally; got != [4]int64{checks.Passed: 2, checks.Warned: 1, checks.Failed: 2, checks.Unknown: 1} {
		t.Errorf("the counts are %v", got)
	}
	for _, res := range rep.Checks {
		if k := r.view().list.byID[res.ID]; k.status != res.Status {
			t.Errorf("card %s shows %v, the report says %v", res.ID, k.status, res.Status)
		}
	}
}

// Stop ends the run at once and leaves nothing green that was not looked at.
func TestStop(t *testing.T) {
	for name, press := range map[string]func(*rig){
		"button": func(r *rig) { test.Tap(r.view().head.stop) },
		"escape": func(r *rig) { r.win.Canvas().Unfocus(); r.key(fyne.KeyEscape) },
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			c := r.start()
			press(r)
			<-c.ctx.Done()
			r.until("the end", func() bool { return r.running == "" })
			if r.view().state != stateStopped {
				t.Errorf("the state is %q", r.view().state)
			}
			for _, k := range r.view().list.cards {
				if k.status != checks.Unknown {
					t.Errorf("card %s shows %v after Stop", k.check.ID, k.status)
				}
			}
			if !r.view().head.check.Visible() || r.view().head.check.Disabled() {
				t.Error("after Stop it should be possible to check again")
			}
		})
	}
}

// While a run goes on, closing asks; No goes on, Yes stops and closes.
func TestCloseAsks(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.start()
	r.Close()
	if r.sheet == nil || r.sheet.Name != "close" {
		t.Fatal("closing while a run goes on should ask")
	}
	r.key(fyne.KeyEscape)
	if r.sheet != nil || r.running == "" {
		t.Fatal("Escape should answer no and let the run go on")
	}
	r.Close()
	test.Tap(r.sheet.Yes)
	r.until("the window to close", func() bool { return r.closed })
	if r.running != "" {
		t.Error("the run should have been stopped first")
	}
}

func TestCloseRemembers(t *testing.T) {
	r := newRig(t, 1100, 700, kit.Dark)
	r.Open("/media/a\xff b", sampleShare)
	r.view().setup.options.uplink.SetText("50 Mb/s")
	r.Close()
	c, err := loadChoices(r.desktop.StateDir)
	if err != nil {
		t.Fatal(err)
	}
	if string(c.Source) != "/media/a\xff b" || string(c.Share) != sampleShare || c.Uplink != "50 Mb/s" || c.Theme != kit.Dark || c.Width != 1100 {
		t.Errorf("remembered %+v", c)
	}
	left, err := filepath.Glob(filepath.Join(r.desktop.StateDir, ".loadline-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("temporary files are left: %q (%v)", left, err)
	}
}

// What cannot be read in the state folder is said, and does not keep the window from opening.
func TestBrokenChoices(t *testing.T) {
	r := newRig(t, 1000, 700, kit.Light)
	if err := os.WriteFile(filepath.Join(r.desktop.StateDir, choicesFile), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	win := test.NewTempWindow(t, nil)
	w := New(win, Engine{List: r.engine.list, Run: r.engine.run}, r.desktop)
	if !w.notice.Box.Visible() || !strings.Contains(w.message, "could not be read") {
		t.Errorf("nothing is said about the broken file: %q", w.message)
	}
}

// A long run ends with a notification, a short one without.
func TestNotification(t *testing.T) {
	for _, c := range []struct {
		took  time.Duration
		notes int
	}{{longRun, 1}, {longRun - time.Second, 0}} {
		r := newRig(t, 1280, 800, kit.Light)
		call := r.start()
		r.mu.Lock()
		r.clock = r.clock.Add(c.took)
		r.mu.Unlock()
		call.end <- ending{rep: sample()}
		r.until("the end", func() bool { return r.running == "" })
		if len(r.notes) != c.notes {
			t.Errorf("after %v there are the notifications %q, want %d", c.took, r.notes, c.notes)
		}
	}
}

// A job that cannot be run is told beside the place at fault, with what to do.
func TestErrorsStandWhereTheyBelong(t *testing.T) {
	for _, c := range []struct {
		err   error
		share bool
	}{
		{&checks.JobError{Field: checks.FieldSource, Err: errors.New("there is no source folder /share"), Hint: "look whether the disk is plugged in"}, false},
		{&checks.JobError{Field: checks.FieldShare, Err: errors.New("there is no share folder /y"), Hint: "look whether it is mounted"}, true},
	} {
		r := newRig(t, 1280, 800, kit.Light)
		r.start().end <- ending{err: c.err}
		r.until("the end", func() bool { return r.running == "" })
		at, other := r.view().setup.from, r.view().setup.to
		if c.share {
			at, other = other, at
		}
		if !at.problem.Visible() || other.problem.Visible() || !strings.HasPrefix(at.problem.Text, "There is no") {
			t.Errorf("%v: stands as %q beside one and %q beside the other", c.err, at.problem.Text, other.problem.Text)
		}
		if r.view().state != stateError {
			t.Errorf("the state is %q", r.view().state)
		}
	}
}

// What cannot be understood among the options is told below them, and nothing starts.
func TestOptionsAreChecked(t *testing.T) {
	for _, c := range []struct {
		set  func(*options)
		want string
	}{
		{func(o *options) { o.uplink.SetText("fast") }, "Uplink"},
		{func(o *options) { o.battery.SetText("-3") }, "Appliance battery"},
		{func(o *options) { o.link.SetText("1 Zb/s") }, "Link"},
		{func(o *options) { o.prefix.SetText("../up") }, "The folder on the share"},
	} {
		r := newRig(t, 1280, 800, kit.Light)
		r.Open(sampleSource, sampleShare)
		o := r.view().setup.options
		c.set(o)
		test.Tap(r.view().head.check)
		if !o.problem.Visible() || !strings.HasPrefix(o.problem.Text, c.want) || r.running != "" {
			t.Errorf("said %q, want it to begin with %q and nothing to run", o.problem.Text, c.want)
		}
	}
}

// Without a source there is nothing to press; with one alone the disk can be checked; the later
// stages want both places.
func TestWhatCanBeChecked(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	able := func(s checks.Stage) bool { return !r.views[s].head.check.Disabled() }
	if able(checks.Before) || able(checks.After) || able(checks.Arrival) {
		t.Error("with nothing chosen nothing can be checked")
	}
	r.view().setup.from.path.SetText(sampleSource)
	if !able(checks.Before) || able(checks.After) {
		t.Error("with the source alone the disk can be checked, the copy not")
	}
	r.view().setup.to.path.SetText(sampleShare)
	if !able(checks.After) {
		t.Error("with both the copy can be checked")
	}
	if got := r.views[checks.After].setup.to.get(); got != sampleShare {
		t.Errorf("the stage after copying has the share %q", got)
	}
}

// Folders are taken from other programs: on the share they become the share, elsewhere the source.
func TestDrop(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	drop := func(at fyne.Position, p string) { r.dropped(at, []fyne.URI{storage.NewFileURI(p)}) }
	middle := func(o fyne.CanvasObject) fyne.Position {
		return fyne.CurrentApp().Driver().AbsolutePositionForObject(o).AddXY(o.Size().Width/2, o.Size().Height/2)
	}
	drop(middle(r.view().setup.to.box), "/mnt/box/with space é")
	drop(middle(r.view().head.box), "/media/reel")
	if got := r.view().setup.to.get(); got != "/mnt/box/with space é" {
		t.Errorf("the share is %q", got)
	}
	if got := r.view().setup.from.get(); got != "/media/reel" {
		t.Errorf("the source is %q", got)
	}
}

// Choose… asks the desktop; where that shows no dialog, the person is told what else to do.
func TestChoose(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.chosen = "/media/reel\x07"
	test.Tap(r.view().setup.from.choose)
	r.settle()
	if got := r.view().setup.from.get(); got != r.chosen {
		t.Errorf("the source is %q", got)
	}
	if got := r.view().setup.from.path.Text; got != `"/media/reel\a"` {
		t.Errorf("the field shows %q: a control character must not reach the screen", got)
	}
	r.chosen, r.chooseTo = "", errors.New("no portal")
	test.Tap(r.view().setup.to.choose)
	r.settle()
	if !strings.Contains(r.view().setup.to.problem.Text, "Type the path") {
		t.Errorf("said %q", r.view().setup.to.problem.Text)
	}
}

// Typed paths are looked at beside the window, and what is wrong stands below them.
func TestProbe(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	dir := t.TempDir()
	file := filepath.Join(dir, "take.mov")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		dir:                           "",
		dir + "/":                     "",
		file:                          "This is a file",
		filepath.Join(dir, "nothing"): "Nothing is there",
	} {
		r.view().setup.from.path.SetText(path)
		r.fire()
		r.until("a look at "+path, func() bool {
			x := r.view().setup.from
			return x.get() == path && (x.facts.Text != "" || x.problem.Text != "") && strings.HasPrefix(x.problem.Text, want)
		})
	}
}

// The whole window on the real engine: every card shows what the engine's own report says.
func TestRealEngine(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	demo, err := demo.New()
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := demo.Close(); err != nil {
			t.Error(err)
		}
	}()
	win := test.NewTempWindow(t, nil)
	w := New(win, RealEngine(), r.desktop)
	r.Window = w
	w.Demo(demo)
	test.Tap(w.view().head.check)
	r.until("the end", func() bool { return w.running == "" })
	rep, err := checks.Run(t.Context(), demo.Job, before.List(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if w.view().report == nil {
		t.Fatalf("the window shows no report: %q %q", w.view().state, w.message)
	}
	if w.view().report.Verdict != rep.Verdict {
		t.Errorf("the window says %v, the engine %v", w.view().report.Verdict, rep.Verdict)
	}
	for _, res := range rep.Checks {
		if k := w.view().list.byID[res.ID]; k == nil || k.status != res.Status {
			t.Errorf("card %s does not show %v", res.ID, res.Status)
		}
	}
}

// A folder on the computer's own disk is no share, and that is said before anything runs.
func TestProbeShare(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.view().setup.to.path.SetText("/")
	r.fire()
	r.until("a look at the share", func() bool { return strings.HasPrefix(r.view().setup.to.problem.Text, "No share is mounted here") })
}

// How a listing would be read is shown before anything is compared, and what is wrong with it too.
func TestProbeListing(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.setStage(checks.Arrival)
	good, bad := filepath.Join(t.TempDir(), "good.csv"), filepath.Join(t.TempDir(), "bad.csv")
	for name, text := range map[string]string{good: "Key,Size\nday 1/a.mov,12\n", bad: "colour,taste\nred,sweet\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	x := r.view().setup.to
	x.path.SetText(good)
	r.fire()
	how := r.view().setup.store.how
	r.until("its columns", func() bool {
		return strings.Contains(how.Text, "commas") && strings.Contains(how.Text, "Key") && x.problem.Text == ""
	})
	x.path.SetText(bad)
	r.fire()
	r.until("what is wrong", func() bool { return x.problem.Text != "" && !how.Visible() })
}

// The manifest that the stage after copying wrote is told of, and stands ready in the stage after
// arrival.
func TestManifestGoesOn(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(sampleSource, sampleShare)
	r.setStage(checks.After)
	test.Tap(r.view().head.check)
	c := r.began()
	if c.req.Stage != checks.After || c.req.State != r.desktop.StateDir {
		t.Errorf("the engine was asked for %+v", c.req)
	}
	rep := clean()
	rep.Stage, rep.Manifest, rep.Checks = checks.After, "/state/manifest.sha256", nil
	for _, k := range sampleChecks[checks.After] {
		rep.Checks = append(rep.Checks, checks.Result{Check: k, ID: k.ID, Title: k.Title, Rules: map[string]int64{}})
	}
	c.end <- ending{rep: rep}
	r.until("the end", func() bool { return r.running == "" })
	if !strings.Contains(r.message, rep.Manifest) {
		t.Errorf("said %q", r.message)
	}
	r.setStage(checks.Arrival)
	r.view().setup.to.path.SetText(`"/a list.csv" "/another.csv"`)
	test.Tap(r.view().head.check)
	c = r.began()
	if c.req.Manifest != rep.Manifest || len(c.req.Listings) != 2 || c.req.Listings[0] != "/a list.csv" {
		t.Errorf("the engine was asked for %q and %q", c.req.Manifest, c.req.Listings)
	}
	c.end <- ending{err: &checks.JobError{Field: checks.FieldListing, Err: errors.New("the listing has no column for keys")}}
	r.until("the end", func() bool { return r.running == "" })
	if !strings.Contains(r.view().setup.to.problem.Text, "no column") {
		t.Errorf("beside the listing stands %q", r.view().setup.to.problem.Text)
	}
}

// A trial folder of an earlier check is removed after a yes; a folder that only looks like one stays.
func TestCleanTrial(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	share := t.TempDir()
	mine := filepath.Join(share, ".loadline-trial-0123456789abcdef")
	if err := os.Mkdir(mine, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(mine, "footage.mov"), []byte("precious"), 0o600); err != nil {
		t.Fatal(err)
	}
	rep := sample()
	rep.Share.Path = share
	r.done(rep)
	r.askClean()
	if r.sheet == nil || r.sheet.Name != "clean" {
		t.Fatal("it should ask first")
	}
	test.Tap(r.sheet.Yes)
	r.until("an answer", func() bool { return r.notice.Box.Visible() })
	if _, err := os.Stat(filepath.Join(mine, "footage.mov")); err != nil {
		t.Errorf("a folder without a marker was removed: %v", err)
	}
}

// In a long run the title tells how far it is, and at its end the verdict; a short one leaves it alone.
func TestTitle(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	c := r.start()
	var icon []float64
	r.desktop.Progress = func(part float64) { icon = append(icon, part) }
	title := func(p checks.Progress, want string) {
		t.Helper()
		c.watch(checks.Event{Progress: p})
		r.until("the title "+want, func() bool { return r.win.Title() == want })
	}
	r.win.SetTitle("Loadline")
	c.watch(checks.Event{Progress: checks.Progress{Elapsed: 20 * time.Second, Done: 0.3}})
	r.until("the progress", func() bool { return r.view().head.meter.Value > 0 })
	if got := r.win.Title(); got != "Loadline" {
		t.Errorf("after 20 seconds the title is %q", got)
	}
	title(checks.Progress{Elapsed: 3 * time.Minute, Done: -1}, "Checking for 3 min – Loadline")
	title(checks.Progress{Elapsed: 4 * time.Minute, Done: 0.42, Left: 310 * time.Second}, "42 %, about 5 min left – Loadline")
	r.mu.Lock()
	r.clock = r.clock.Add(longRun)
	r.mu.Unlock()
	c.end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
	if got := r.win.Title(); got != "Do not copy yet – Loadline" {
		t.Errorf("at the end the title is %q", got)
	}
	if want := []float64{0.42, -1}; !slices.Equal(icon, want) {
		t.Errorf("the icon showed %v, want %v", icon, want)
	}
	if len(r.notes) != 1 || !strings.Contains(r.notes[0], "Do not copy yet") {
		t.Errorf("notified %q", r.notes)
	}
	r.Check()
	c = r.began()
	if got := r.win.Title(); got != "Loadline" {
		t.Errorf("the next run begins with the title %q", got)
	}
	c.end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
}
