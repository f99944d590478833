package gui

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/gui/kit"
)

// The goldens of this file are text: every object with its place, size, colour and words. They show
// in a review what a change did to a screen. A test that fails leaves what it got in testdata/failed.

// What a card looks like in every state, wide and narrow, shut and open.
func TestCardStates(t *testing.T) {
	rep := sample()
	of := func(id string) *checks.Result {
		return rep.Result(id)
	}
	for _, c := range []struct {
		name   string
		id     string
		status checks.Status
		ended  bool
		open   bool
	}{
		{"waiting", "share-mounted", checks.Waiting, false, false},
		{"running", "share-mounted", checks.Running, false, false},
		{"pass", "share-mounted", checks.Passed, true, false},
		{"warned", "name-characters", checks.Warned, true, false},
		{"failed", "name-length", checks.Failed, true, false},
		{"unknown", "metadata", checks.Unknown, true, false},
		{"failed-open", "name-length", checks.Failed, true, true},
		{"unknown-open", "metadata", checks.Unknown, true, true},
		{"waiting-open", "share-mounted", checks.Waiting, false, true},
		{"space", "free-space", checks.Passed, true, false},
		{"time", "copy-time", checks.Failed, true, false},
	} {
		for _, width := range []float32{1000, 600} {
			t.Run(fmt.Sprintf("%s-%d", c.name, int(width)), func(t *testing.T) {
				test.NewTempApp(t)
				fyne.CurrentApp().Settings().SetTheme(&kit.Theme{Mode: kit.Light})
				res := of(c.id)
				l := newCardList([]*checks.Check{res.Check}, cardActions{files: func(*checks.Check) {}})
				k := l.cards[0]
				doing := ""
				if c.status == checks.Running {
					doing = "Looking…"
				}
				if !c.ended {
					res = nil
				}
				k.show(c.status, res, doing)
				if c.ended {
					l.finish(rep)
				}
				k.setOpen(c.open)
				w := test.NewTempWindow(t, container.NewStack(k))
				w.SetPadded(false)
				w.Resize(fyne.NewSize(width, k.HeightFor(width)))
				golden(t, fmt.Sprintf("card-%s-%d", c.name, int(width)), w.Canvas())
			})
		}
	}
}

// halt ends a run that still goes on.
func (r *rig) halt() {
	if r.running != "" {
		r.run.stop()
		r.until("the end", func() bool { return r.running == "" })
	}
}

// screens are the screens of the window, and what leads there.
var screens = map[string]func(*rig){
	"empty": func(*rig) {},
	"ready": func(r *rig) { r.Open(sampleSource, sampleShare) },
	"disk-only": func(r *rig) {
		r.Open(sampleSource, "")
	},
	"running": func(r *rig) {
		c := r.start()
		list := sampleChecks[checks.Before]
		rep := sample()
		c.watch(checks.Event{Check: list[0], Result: &rep.Checks[0]})
		c.watch(checks.Event{Check: list[1], Progress: checks.Progress{
			Phase: "Reading the source", Elapsed: 12 * time.Second, Entries: 128_410, Bytes: 600_000_000_000, Done: 0.31, Left: 27 * time.Second,
		}})
		r.until("progress", func() bool { return r.view().head.meter.Value > 0 })
	},
	"failed":  func(r *rig) { r.done(sample()) },
	"passed":  func(r *rig) { r.done(clean()) },
	"planned": func(r *rig) { rep := sample(); rep.Share = nil; r.done(rep) },
	"stopped": func(r *rig) {
		r.start()
		r.Stop()
		r.until("the stop", func() bool { return r.running == "" })
	},
	"error": func(r *rig) {
		r.start().end <- ending{err: &checks.JobError{Field: checks.FieldSource, Err: fmt.Errorf("there is no source folder %s; look whether the disk is plugged in and mounted, and how the path is spelled", sampleSource)}}
		r.until("the error", func() bool { return r.running == "" })
	},
	"broken": func(r *rig) {
		r.start().end <- ending{err: errors.New("the disk went away")}
		r.until("the error", func() bool { return r.running == "" })
	},
	"after":   func(r *rig) { r.setStage(checks.After) },
	"arrival": func(r *rig) { r.setStage(checks.Arrival) },
	"arrival-read": func(r *rig) {
		r.setStage(checks.Arrival)
		x := r.view().setup
		x.from.put("/state/copy.sha256")
		x.to.put("/lists/monday.csv")
		x.store.how.Say("How it is read: table with commas: key from Key, size from Size, no checksum. Of its first 10 objects, 10 are files of the manifest; keys are read as they stand.")
		x.store.columns.SetText("key=1")
		r.view().relayout()
	},
	"recheck": func(r *rig) { r.showRecheck() },
	"files": func(r *rig) {
		r.done(sample())
		r.findFiles()
		r.until("rows", func() bool { return r.files.model.ready })
		r.files.table.Choose(1)
	},
	"files-none": func(r *rig) {
		r.done(sample())
		r.findFiles()
		r.until("rows", func() bool { return r.files.model.ready })
		r.files.find.SetText("no such name")
		r.fire()
		r.until("no rows", func() bool { return r.files.model.rows() == 0 })
	},
	"disks": func(r *rig) { r.withDisks() },
	"disks-done": func(r *rig) {
		r.doneWithDisks()
		r.view().list.byID["name-characters"].setOpen(true)
	},
	"keys":    func(r *rig) { r.showKeys() },
	"save":    func(r *rig) { r.done(sample()); r.desktop.ReportDir = "/home/reel"; r.save() },
	"close":   func(r *rig) { r.start(); r.Close() },
	"message": func(r *rig) { r.tell(checks.Failed, "No file manager could be opened.") },
}
