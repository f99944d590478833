package gui

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/widget"

	"loadline/checks"
	"loadline/checks/arrival"
	"loadline/checks/manifest"
	"loadline/gui/kit"
)

// A verdict never stands beside another disk, share or folder than it is about; it comes back with
// them.
func TestVerdictFollowsPlaces(t *testing.T) {
	for name, change := range map[string]func(*rig) (back func()){
		"source": func(r *rig) func() {
			r.view().setup.from.path.SetText("/media/other")
			return func() { r.view().setup.from.put(sampleSource) }
		},
		"share": func(r *rig) func() {
			r.view().setup.to.path.SetText("")
			return func() { r.view().setup.to.put(sampleShare) }
		},
		"folder on the share": func(r *rig) func() {
			o := r.view().setup.options
			old := o.prefix.Text
			o.prefix.SetText("elsewhere")
			return func() { o.prefix.SetText(old) }
		},
		"source, named in another stage": func(r *rig) func() {
			r.setStage(checks.After)
			r.view().setup.from.path.SetText("/media/other")
			r.setStage(checks.Before)
			return func() { r.view().setup.from.put(sampleSource) }
		},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			r.done(clean())
			v := r.view()
			title := v.head.title.Text
			back := change(r)
			if v.report != nil || v.state != stateIdle || v.head.title.Text == title || v.head.counts.Visible() || v.head.files.Visible() || !r.bar.save.Disabled() {
				t.Errorf("the verdict %q still stands", v.head.title.Text)
			}
			for _, k := range v.list.cards {
				if k.status != checks.Waiting {
					t.Errorf("card %s still shows %v", k.check.ID, k.status)
				}
			}
			back()
			if v.report == nil || v.state != stateDone || v.head.title.Text != title || r.bar.save.Disabled() {
				t.Errorf("with its places the report should be back, it says %q", v.head.title.Text)
			}
		})
	}
}

// Of a report that was opened again the same holds.
func TestLastReportFollowsPlaces(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(clean())
	r.view().setup.from.path.SetText("/media/other")
	r.openLast()
	r.until("the last report", func() bool { return r.view().report != nil })
	if got := r.view().setup.from.get(); got != sampleSource {
		t.Fatalf("it opens on %q", got)
	}
	r.view().setup.from.path.SetText("/media/other")
	if r.view().report != nil {
		t.Error("it stands beside another disk")
	}
}

// While a check runs, the other stages say so, Escape there does not stop it, and what they name is
// not carried into it. When it ends they are told.
func TestOtherStageWhileRunning(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	c := r.start()
	r.setStage(checks.After)
	if r.bar.stages[checks.Before].Icon != "running" {
		t.Error("the bar should show which stage is being checked")
	}
	r.Check()
	if !strings.Contains(r.message, "“Before copying” is still being checked") {
		t.Errorf("Check says %q", r.message)
	}
	r.win.Canvas().Unfocus()
	r.key(fyne.KeyEscape)
	if r.views[checks.Before].head.title.Text == "Stopping" || r.running == "" {
		t.Fatal("Escape on another stage should leave the run alone")
	}
	r.view().setup.from.path.SetText("/media/other")
	if got := r.views[checks.Before].setup.from.get(); got != sampleSource {
		t.Errorf("the run's own field now names %q", got)
	}
	c.end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
	if !strings.Contains(r.message, "“Before copying” is checked: Do not copy yet") {
		t.Errorf("at its end the window says %q", r.message)
	}
	if r.bar.stages[checks.Before].Icon != "" {
		t.Error("the bar still shows a run")
	}
}

// An error stands beside the place that it is about, whatever words its paths hold.
func TestBlame(t *testing.T) {
	bad := func(f checks.Field, format string, args ...any) error {
		return &checks.JobError{Field: f, Err: fmt.Errorf(format, args...)}
	}
	for _, c := range []struct {
		name     string
		stage    checks.Stage
		from, to string
		err      error
		toBlame  bool
	}{
		{"source", checks.Before, "/media/share", "/mnt/box", bad(checks.FieldSource, "there is no source folder /media/share; look"), false},
		{"share", checks.Before, "/media/disk", "/mnt/box", bad(checks.FieldShare, "there is no share folder /mnt/box; look"), true},
		{"manifest", checks.Arrival, "/a.sha256", "/b.csv", bad(checks.FieldManifest, "/a.sha256: %w: give the manifest first, then the listings", manifest.ErrUnusable), false},
		{"listing", checks.Arrival, "/manifest", "/b.csv", bad(checks.FieldListing, "/b.csv: %w: line 1", arrival.ErrListing), true},
		{"listing that is gone", checks.Arrival, "/a.sha256", "/b.csv", bad(checks.FieldListing, "open /b.csv: %w", errors.New("no such file")), true},
		{"manifest that is gone", checks.Arrival, "/listing.sha256", "/b.csv", bad(checks.FieldManifest, "open /listing.sha256: %w", errors.New("no such file")), false},
		{"copy", checks.Recheck, "/copy.sha256", "/media/copy", bad(checks.FieldSource, "there is no folder /media/copy; look"), true},
		{"manifest of a copy", checks.Recheck, "/copy.sha256", "/media/copy", bad(checks.FieldManifest, "/copy.sha256: %w", manifest.ErrUnusable), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			r.setStage(c.stage)
			v := r.view()
			v.setup.from.put(c.from)
			v.setup.to.put(c.to)
			r.failed(v, c.err)
			if v.setup.to.wrong() != c.toBlame || v.setup.from.wrong() == c.toBlame {
				t.Errorf("beside the first place: %q, beside the second: %q", v.setup.from.problem.Text, v.setup.to.problem.Text)
			}
			want := v.setup.from.path
			if c.toBlame {
				want = v.setup.to.path
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
		"save":   {fyne.KeyS, "No report to save yet"},
		"find":   {fyne.KeyF, "No findings yet"},
		"reopen": {fyne.KeyL, "No report of “Before copying” has been kept yet"},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			r.shortcut(&desktop.CustomShortcut{KeyName: c.key, Modifier: ctrl})
			if !strings.Contains(r.message, c.says) || !r.notice.Box.Visible() {
				t.Errorf("it says %q", r.message)
			}
		})
	}
}

// A window without a source begins with the keyboard at the source, and Enter there checks.
func TestStartsAtSource(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	from := r.view().setup.from.path
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
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(sampleSource, sampleShare)
	o := r.view().setup.options
	o.uplink.SetText("fast")
	test.Tap(r.view().head.check)
	if r.view().state != stateError || r.view().head.title.Text != "The check could not start" || !o.problem.Visible() {
		t.Errorf("%q, %q", r.view().head.title.Text, o.problem.Text)
	}
	o.uplink.SetText("fast1")
	if o.problem.Visible() || r.view().state != stateIdle {
		t.Error("what is typed anew has not been found wrong yet")
	}
}

// In front of a dialog of the toolkit's own no shortcut acts on what is below, and Escape closes it.
func TestForeignDialog(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(sample())
	r.win.Canvas().Unfocus()
	d := widget.NewModalPopUp(container.NewStack(canvas.NewRectangle(kit.Paint(kit.ColSurface))), r.win.Canvas())
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
	r := newRig(t, 900, 600, kit.Light)
	r.done(sample())
	c := r.win.Canvas()
	c.Unfocus()
	r.key(fyne.KeyDown)
	p := r.view().list.page
	for range 20 {
		r.key(fyne.KeyPageDown)
	}
	if p.MaxOffset() < 100 || p.Offset() < p.MaxOffset()-1 {
		t.Errorf("Page Down ends at %v of %v", p.Offset(), p.MaxOffset())
	}
	for range 20 {
		r.key(fyne.KeyPageUp)
	}
	if p.Offset() > 0 {
		t.Errorf("Page Up ends at %v", p.Offset())
	}
	r.win.Resize(fyne.NewSize(640, 400))
	r.showKeys()
	r.key(fyne.KeyPageDown)
	if r.sheet.Page.Offset() <= 0 {
		t.Error("Page Down should turn the list of shortcuts")
	}
}

// A stopped run has no sums to show: they would be of a part of the disk.
func TestStoppedShowsNoSums(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	c := r.start()
	rep := sample()
	rep.Interrupted = true
	c.end <- ending{rep: rep}
	r.until("the end", func() bool { return r.running == "" })
	if got := r.view().setup.from.facts.Text; strings.Contains(got, "file") {
		t.Errorf("beside the source stands %q", got)
	}
	if r.view().head.check.Kind != kit.Primary {
		t.Error("the next thing to do is to check again")
	}
}

// The loud button is the next thing to do.
func TestPrimaryIsNext(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	if r.view().head.check.Kind != kit.Primary {
		t.Error("at first it is to check")
	}
	r.done(sample())
	if r.view().head.files.Kind != kit.Primary || r.view().head.check.Kind == kit.Primary {
		t.Error("with findings it is to look at them")
	}
	r.done(clean())
	if r.view().head.check.Kind == kit.Primary {
		t.Error("where all is good it is to copy, not to check again")
	}
}

// A long path shows that its head is out of sight, unless somebody is typing in it.
func TestEllipsis(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Open("/media/reel/"+strings.Repeat("a very long folder/", 9)+"end", sampleShare)
	from, to := r.view().setup.from.path, r.view().setup.to.path
	if !from.HeadHidden() || to.HeadHidden() {
		t.Fatalf("shown beside the long path: %v, beside the short one: %v", from.HeadHidden(), to.HeadHidden())
	}
	r.win.Canvas().Focus(from)
	if from.HeadHidden() {
		t.Error("nothing should lie over what is being typed")
	}
	from.CursorColumn = 0
	r.win.Canvas().Unfocus()
	if !from.HeadHidden() || from.CursorColumn == 0 {
		t.Error("without the keyboard the field should stand at its end again")
	}
}

// Whoever starts a run from the button by keyboard finds the keyboard at Stop, and at its end at the
// next thing to do; Escape then closes what is said at the foot.
func TestKeyboardStaysAtTheButton(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
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
	if r.notice.Box.Visible() {
		t.Error("Escape should close the notice")
	}
}

// On a low window, where the fields scroll with the cards, the wheel turns the page over a field too.
func TestWheelOverField(t *testing.T) {
	r := newRig(t, 640, 480, kit.Light)
	r.done(sample())
	r.view().setup.setFolded(false)
	f := r.view().setup.options.prefix
	at := fyne.CurrentApp().Driver().AbsolutePositionForObject(f).AddXY(20, 10)
	test.Scroll(r.win.Canvas(), at, 0, -40)
	if y := r.view().list.page.Offset(); y <= 0 {
		t.Errorf("the page stands at %v", y)
	}
}

// However the source is typed, what the report measured holds for the names that are proposed, and
// the report comes back when the same folder is named another way.
func TestSourceTypedOtherwise(t *testing.T) {
	dir := t.TempDir()
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(dir, link); err != nil {
		t.Fatal(err)
	}
	rep := func() *checks.Report {
		rep := clean()
		rep.Source.Path = real
		rep.Checks[2].Facts = []checks.Fact{{Key: "limit_bytes", Value: 143, Text: "The share takes 143 bytes"}}
		return rep
	}
	for name, typed := range map[string]string{"as it is": dir, "slash at the end": dir + "/", "with ..": filepath.Join(dir, "x") + "/..", "through a link": link} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			r.Open(typed, sampleShare)
			test.Tap(r.view().head.check)
			r.began().end <- ending{rep: rep()}
			r.until("the end", func() bool { return r.running == "" })
			r.until("the kept report", func() bool { return r.hasLast(checks.Before) })
			v := r.view()
			if v.report == nil {
				t.Fatal("a plan would not learn what the share was measured to take")
			}
			v.setup.from.path.SetText("/media/other")
			if v.report != nil {
				t.Fatal("the report stands beside another disk")
			}
			v.setup.from.path.SetText(dir + "//")
			r.fire()
			r.until("the report", func() bool { return v.report != nil })
		})
	}
}

// What is said at the foot goes when it is no longer true, and what stays true stays.
func TestMessagesGo(t *testing.T) {
	press := func(r *rig, k fyne.KeyName) {
		r.shortcut(&desktop.CustomShortcut{KeyName: k, Modifier: ctrl})
	}
	for name, c := range map[string]struct {
		say, make func(*rig)
		goes      bool
	}{
		"a check runs, findings wanted": {
			func(r *rig) { r.start(); press(r, fyne.KeyF) },
			func(r *rig) { r.Stop(); r.until("the end", func() bool { return r.running == "" }) }, true,
		},
		"a check runs, the last report wanted": {
			func(r *rig) { r.start(); press(r, fyne.KeyL) },
			func(r *rig) { r.Stop(); r.until("the end", func() bool { return r.running == "" }) }, true,
		},
		"a check runs, another stage": {
			func(r *rig) { r.start(); press(r, fyne.KeyF) },
			func(r *rig) { r.setStage(checks.After) }, false,
		},
		"no source": {
			func(r *rig) { press(r, fyne.KeyR) },
			func(r *rig) { r.view().setup.from.path.SetText(sampleSource) }, true,
		},
		"no report to save": {
			func(r *rig) { press(r, fyne.KeyS) },
			func(r *rig) { r.done(sample()) }, true,
		},
		"a path on the clipboard": {
			func(r *rig) {
				r.done(sample())
				r.findFiles()
				r.until("rows", func() bool { return r.files.model.ready })
				r.files.table.Choose(1)
				r.files.copyPath()
			},
			func(r *rig) { r.back() }, true,
		},
		"the last report, another disk": {
			func(r *rig) {
				r.done(sample())
				press(r, fyne.KeyL)
				r.until("the last report", func() bool { return r.notice.Box.Visible() })
			},
			func(r *rig) { r.view().setup.from.path.SetText("/media/other") }, true,
		},
		"something that was saved": {
			func(r *rig) { r.done(sample()); r.wrote("/tmp/report.txt") },
			func(r *rig) { r.setStage(checks.After) }, false,
		},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			c.say(r)
			if !r.notice.Box.Visible() {
				t.Fatal("nothing is said")
			}
			text := r.message
			c.make(r)
			if gone := !r.notice.Box.Visible(); gone != c.goes {
				t.Errorf("%q is gone: %v", text, gone)
			}
			r.halt()
		})
	}
}
