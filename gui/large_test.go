//go:build !race

package gui

import (
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/gui/kit"
)

// At rest nothing moves: on every screen, in both themes and both sizes, a window that has settled asks
// for no layout and for nothing to be drawn.
func TestStill(t *testing.T) {
	more := map[string]func(*rig){
		"fields": func(r *rig) {
			r.Open(sampleSource, sampleShare)
			r.win.Canvas().Focus(r.view().setup.from.path)
		},
		"open cards": func(r *rig) {
			r.done(sample())
			for _, k := range r.view().list.cards {
				k.setOpen(true)
			}
			r.win.Canvas().Focus(r.view().list.cards[2])
		},
		"full name": func(r *rig) {
			r.done(sample())
			r.findFiles()
			r.until("rows", func() bool { return r.files.model.ready })
			r.files.table.Choose(1)
			r.files.showFull()
		},
		"filter": func(r *rig) {
			r.done(sample())
			r.findFiles()
			r.until("rows", func() bool { return r.files.model.ready })
			test.Type(r.files.find, "day")
			r.fire()
		},
		"fix": func(r *rig) {
			r.t.Setenv("XDG_STATE_HOME", r.t.TempDir())
			r.Open(tree(r.t, "day 1/what?.mov", "trailing /a.wav"), "")
			r.showFix()
			r.until("the plan", func() bool { return r.fix.plan != nil })
			r.fix.table.Choose(0)
		},
		"stage after": func(r *rig) {
			rep := clean()
			rep.Stage, rep.Checks = checks.After, nil
			for _, k := range sampleChecks[checks.After] {
				rep.Checks = append(rep.Checks, checks.Result{Check: k, ID: k.ID, Title: k.Title, Rules: map[string]int64{}})
			}
			r.setStage(checks.After)
			r.view().setReport(rep, stateDone)
		},
		"boxes wrong": func(r *rig) {
			p := r.dividing(archive(r.t), "8", "")
			p.start()
		},
		"boxes saved": func(r *rig) {
			p := r.divided(archive(r.t), "60 kB", "40 kB")
			test.Tap(p.save)
			save(r)
			p.pick(2)
			p.table.Choose(1)
		},
		"other theme": func(r *rig) { r.done(sample()); r.turnTheme() },
		"other size":  func(r *rig) { r.done(sample()); r.win.Resize(fyne.NewSize(640, 400)) },
	}
	for name, show := range screens {
		more[name] = show
	}
	for name, show := range more {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			w := watch(r)
			show(r)
			r.settle()
			w.still(r)
			for _, change := range []func(){
				func() { r.setTheme(kit.Dark) },
				func() { r.win.Resize(fyne.NewSize(900, 600)) },
				func() { r.setTheme(kit.Light) },
			} {
				change()
				w.still(r)
			}
			r.halt()
		})
	}
}

// What the window looks like on every screen.
func TestScreens(t *testing.T) {
	for name, show := range screens {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			show(r)
			r.settle()
			golden(t, "screen-"+name, r.win.Canvas())
			r.halt()
		})
	}
}

// A million findings: the last one can be reached, and it is the right one.
func TestAMillionFindings(t *testing.T) {
	const n = 1_000_000
	r := filesRig(t, manyFindings(n))
	p := r.files
	if p.model.rows() != n {
		t.Fatalf("%d rows", p.model.rows())
	}
	last := p.model.at(n - 1).Path
	r.key(fyne.KeyDown)
	r.key(fyne.KeyEnd)
	if p.table.Chosen != n-1 || p.path.Text != last {
		t.Errorf("End leads to row %d, shown as %q, want %q", p.table.Chosen, p.path.Text, last)
	}
}
