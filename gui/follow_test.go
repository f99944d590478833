package gui

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/widget"

	"loadline/checks"
	"loadline/checks/seal"
)

// A verdict never stands beside another disk, share or folder than it is about; it comes back with
// them.
func TestVerdictFollowsPlaces(t *testing.T) {
	for name, change := range map[string]func(*rig) (back func()){
		"source": func(r *rig) func() {
			r.view().route.from.path.SetText("/media/other")
			return func() { r.view().route.from.put(sampleSource) }
		},
		"share": func(r *rig) func() {
			r.view().route.to.path.SetText("")
			return func() { r.view().route.to.put(sampleShare) }
		},
		"folder on the share": func(r *rig) func() {
			o := r.view().route.options
			old := o.prefix.Text
			o.prefix.SetText("elsewhere")
			return func() { o.prefix.SetText(old) }
		},
		"source, named in another stage": func(r *rig) func() {
			r.setStage(checks.After)
			r.view().route.from.path.SetText("/media/other")
			r.setStage(checks.Before)
			return func() { r.view().route.from.put(sampleSource) }
		},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, Light)
			r.done(clean())
			v := r.view()
			title := v.head.title.text
			back := change(r)
			if v.report != nil || v.state != stateIdle || v.head.title.text == title || v.head.counts.Visible() || v.head.files.Visible() || !r.bar.save.Disabled() {
				t.Errorf("the verdict %q still stands", v.head.title.text)
			}
			for _, k := range v.ledger.cards {
				if k.status != checks.Waiting {
					t.Errorf("card %s still shows %v", k.check.ID, k.status)
				}
			}
			back()
			if v.report == nil || v.state != stateDone || v.head.title.text != title || r.bar.save.Disabled() {
				t.Errorf("with its places the report should be back, it says %q", v.head.title.text)
			}
		})
	}
}

// Of a report that was opened again the same holds.
func TestLastReportFollowsPlaces(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	r.done(clean())
	r.view().route.from.path.SetText("/media/other")
	r.openLast()
	r.until("the last report", func() bool { return r.view().report != nil })
	if got := r.view().route.from.get(); got != sampleSource {
		t.Fatalf("it opens on %q", got)
	}
	r.view().route.from.path.SetText("/media/other")
	if r.view().report != nil {
		t.Error("it stands beside another disk")
	}
}

// While a check runs, the other stages say so, Escape there does not stop it, and what they name is
// not carried into it. When it ends they are told.
func TestOtherStageWhileRunning(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	c := r.start()
	r.setStage(checks.After)
	if r.bar.stages[checks.Before].icon != "running" {
		t.Error("the bar should show which stage is being checked")
	}
	r.Check()
	if !strings.Contains(r.message, "“Before copying” is still being checked") {
		t.Errorf("Check says %q", r.message)
	}
	r.win.Canvas().Unfocus()
	r.key(fyne.KeyEscape)
	if r.stops || r.running == "" {
		t.Fatal("Escape on another stage should leave the run alone")
	}
	r.view().route.from.path.SetText("/media/other")
	if got := r.views[checks.Before].route.from.get(); got != sampleSource {
		t.Errorf("the run's own field now names %q", got)
	}
	c.end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
	if !strings.Contains(r.message, "“Before copying” is checked: Do not copy yet") {
		t.Errorf("at its end the window says %q", r.message)
	}
	if r.bar.stages[checks.Before].icon != "" {
		t.Error("the bar still shows a run")
	}
}

// An error stands beside the place that it is about, whatever words its paths hold.
func TestBlame(t *testing.T) {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: %w", checks.ErrBadJob, fmt.Errorf(format, args...))
	}
	for _, c := range []struct {
		name     string
		stage    checks.Stage
		from, to string
		err      error
		toBlame  bool
	}{
		{"source", checks.Before, "/media/share", "/mnt/box", bad("there is no source folder /media/share; look"), false},
		{"share", checks.Before, "/media/disk", "/mnt/box", bad("there is no share folder /mnt/box; look"), true},
		{"manifest", checks.Arrival, "/a.sha256", "/b.csv", bad("/a.sha256: %w: give the manifest first, then the listings", seal.ErrManifest), false},
		{"listing", checks.Arrival, "/manifest", "/b.csv", bad("/b.csv: %w: line 1", seal.ErrListing), true},
		{"listing that is gone", checks.Arrival, "/a.sha256", "/b.csv", bad("open /b.csv: %w", errors.New("no such file")), true},
		{"manifest that is gone", checks.Arrival, "/listing.sha256", "/b.csv", bad("open /listing.sha256: %w", errors.New("no such file")), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, 1280, 800, Light)
			r.setStage(c.stage)
			v := r.view()
			v.route.from.put(c.from)
			v.route.to.put(c.to)
			r.failed(v, c.err)
			if v.route.to.wrong() != c.toBlame || v.route.from.wrong() == c.toBlame {
				t.Errorf("beside the first place: %q, beside the second: %q", v.route.from.problem.text, v.route.to.problem.text)
			}
			want := v.route.from.path
			if c.toBlame {
				want = v.route.to.path
			}
			if r.win.Canvas().Focused() != want {
				t.Error("the keyboard should be where something is wrong")
			}
		})
	}
}

// What cannot be done now is said, never passed over in silence.
func TestNothingIsSilent(t *testing.T) {
	for name, c := range map[string]struct {
		key  fyne.KeyName
		says string
	}{
		"check":  {fyne.KeyR, "Choose the source first"},
		"save":   {fyne.KeyS, "no report yet"},
		"find":   {fyne.KeyF, "no findings yet"},
		"reopen": {fyne.KeyL, "No report of “Before copying” is kept yet"},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, Light)
			r.shortcut(&desktop.CustomShortcut{KeyName: c.key, Modifier: ctrl})
			if !strings.Contains(r.message, c.says) || !r.notice.box.Visible() {
				t.Errorf("it says %q", r.message)
			}
		})
	}
}

// A window without a source begins with the keyboard at the source, and Enter there checks.
func TestStartsAtSource(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	from := r.view().route.from.path
	if r.win.Canvas().Focused() != from {
		t.Fatal("the keyboard should be at the source")
	}
	test.Type(from, sampleSource)
	r.key(fyne.KeyReturn)
	c := r.began()
	if c.req.Source != sampleSource {
		t.Errorf("Enter checks %q", c.req.Source)
	}
	r.Stop()
	r.until("the end", func() bool { return r.running == "" })
}

// A wrong option is told at the head too, and goes when it is typed anew.
func TestWrongOptionIsTold(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	r.Open(sampleSource, sampleShare)
	o := r.view().route.options
	o.uplink.SetText("fast")
	test.Tap(r.view().head.check)
	if r.view().state != stateError || r.view().head.title.text != "The check could not begin" || !o.problem.Visible() {
		t.Errorf("%q, %q", r.view().head.title.text, o.problem.text)
	}
	o.uplink.SetText("fast1")
	if o.problem.Visible() || r.view().state != stateIdle {
		t.Error("what is typed anew has not been found wrong yet")
	}
}

// In front of a dialog of the toolkit's own no shortcut acts on what lies below, and Escape closes it.
func TestForeignDialog(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	r.done(sample())
	r.win.Canvas().Unfocus()
	d := widget.NewModalPopUp(container.NewStack(canvas.NewRectangle(paint(colSurface))), r.win.Canvas())
	d.Show()
	r.shortcut(&desktop.CustomShortcut{KeyName: fyne.KeyF, Modifier: ctrl})
	r.typedKey(&fyne.KeyEvent{Name: fyne.KeyF5})
	if r.at != pageChecks || r.running != "" {
		t.Error("a shortcut went past the dialog")
	}
	r.typedKey(&fyne.KeyEvent{Name: fyne.KeyEscape})
	if d.Visible() || r.win.Canvas().Overlays().Top() != nil {
		t.Error("Escape should close the dialog")
	}
}

// By keyboard everything comes into view: an open check may be longer than the window.
func TestScrollByKeyboard(t *testing.T) {
	r := newRig(t, 900, 600, Light)
	r.done(sample())
	c := r.win.Canvas()
	c.Unfocus()
	r.key(fyne.KeyDown)
	s := r.view().ledger.page.scroll
	for range 20 {
		r.key(fyne.KeyPageDown)
	}
	if most := s.Content.Size().Height - s.Size().Height; s.Offset.Y < most-1 {
		t.Errorf("Page Down ends at %v of %v", s.Offset.Y, most)
	}
	for range 20 {
		r.key(fyne.KeyPageUp)
	}
	if s.Offset.Y > 0 {
		t.Errorf("Page Up ends at %v", s.Offset.Y)
	}
	r.win.Resize(fyne.NewSize(640, 400))
	r.showKeys()
	r.key(fyne.KeyPageDown)
	if r.sheet.scroll.Offset.Y <= 0 {
		t.Error("Page Down should turn the list of shortcuts")
	}
}

// A stopped run has no sums to show: they would be of a part of the disk.
func TestStoppedShowsNoSums(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	c := r.start()
	rep := sample()
	rep.Interrupted = true
	c.end <- ending{rep: rep}
	r.until("the end", func() bool { return r.running == "" })
	if got := r.view().route.from.facts.text; strings.Contains(got, "file") {
		t.Errorf("beside the source stands %q", got)
	}
	if r.view().head.check.kind != primary {
		t.Error("the next thing to do is to check again")
	}
}

// The loud button is the next thing to do.
func TestPrimaryIsNext(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	if r.view().head.check.kind != primary {
		t.Error("at first it is to check")
	}
	r.done(sample())
	if r.view().head.files.kind != primary || r.view().head.check.kind == primary {
		t.Error("with findings it is to look at them")
	}
	r.done(clean())
	if r.view().head.check.kind == primary {
		t.Error("where all is good it is to copy, not to check again")
	}
}

// A long path shows that its head is out of sight, unless somebody is typing in it.
func TestEllipsis(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	r.Open("/media/reel/"+strings.Repeat("a very long folder/", 9)+"end", sampleShare)
	from, to := r.view().route.from.path, r.view().route.to.path
	if !from.more.Visible() || to.more.Visible() {
		t.Fatalf("shown beside the long path: %v, beside the short one: %v", from.more.Visible(), to.more.Visible())
	}
	r.win.Canvas().Focus(from)
	if from.more.Visible() {
		t.Error("nothing should lie over what is being typed")
	}
	from.CursorColumn = 0
	r.win.Canvas().Unfocus()
	if !from.more.Visible() || from.CursorColumn == 0 {
		t.Error("without the keyboard the field should stand at its end again")
	}
}

// Whoever starts a run from the button by keyboard finds the keyboard at Stop, and at its end at the
// next thing to do; Escape then closes what is said at the foot.
func TestKeyboardStaysAtTheButton(t *testing.T) {
	r := newRig(t, 1280, 800, Light)
	r.Open(sampleSource, sampleShare)
	c, h := r.win.Canvas(), r.view().head
	c.Focus(h.check)
	r.key(fyne.KeyReturn)
	run := r.began()
	if c.Focused() != h.stop {
		t.Fatalf("while it runs the keyboard is at %T", c.Focused())
	}
	run.end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
	if c.Focused() != h.files {
		t.Errorf("at the end the keyboard is at %T", c.Focused())
	}
	r.tell(checks.Waiting, "Something.")
	r.key(fyne.KeyEscape)
	if r.notice.box.Visible() {
		t.Error("Escape should close the notice")
	}
}

// On a low window, where the fields scroll with the cards, the wheel turns the page over a field too.
func TestWheelOverField(t *testing.T) {
	r := newRig(t, 640, 480, Light)
	r.done(sample())
	f := r.view().route.options.prefix
	at := fyne.CurrentApp().Driver().AbsolutePositionForObject(f).AddXY(20, 10)
	test.Scroll(r.win.Canvas(), at, 0, -40)
	if y := r.view().ledger.page.scroll.Offset.Y; y <= 0 {
		t.Errorf("the page stands at %v", y)
	}
}
