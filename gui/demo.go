package gui

import (
	"fmt"

	"loadline/checks"
	"loadline/checks/demo"
	"loadline/gui/input"
)

// Demo fills in the invented archive, in every stage, and says that it is one. What is shown is computed
// on the demo's own folders; only the facts of a mount and a disk are invented, and a card says so.
func (w *Window) Demo(d *demo.Demo) {
	w.demo = d
	w.standIn = func(j *checks.Job) {
		own := d.Job
		if j.Stage == checks.After {
			own = d.Copied
		}
		if w.links.settle(j.Source) == w.links.settle(own.Source) && w.links.settle(j.Share) == w.links.settle(own.Share) {
			j.StandIn, j.StandInSource = own.StandIn, own.StandInSource
		}
	}
	w.setStage(checks.Before)
	w.mute = true // each stage has places of its own here
	for s, job := range map[checks.Stage]checks.Job{checks.Before: d.Job, checks.After: d.Copied} {
		v := w.views[s]
		v.setup.from.put(job.Source)
		v.setup.to.put(job.Share)
		o := v.setup.options
		o.prefix.SetText(input.ShowPath(job.Prefix))
		if job.Uplink > 0 {
			o.uplink.SetText(checks.LineRate(job.Uplink))
		}
		if job.Battery > 0 {
			o.battery.SetText(fmt.Sprintf("%g h", job.Battery.Hours()))
		}
	}
	w.mute = false
	defer func() {
		for _, v := range w.views {
			w.probe(v)
			w.showReady(v)
		}
	}()
	manifest, err := d.Manifest()
	if err == nil {
		w.views[checks.Arrival].setup.from.put(manifest)
		err = w.demoListing(false)
	}
	if err != nil {
		w.tell(checks.Warned, "The demo has no stage after arrival: "+err.Error())
		return
	}
	w.tell(checks.Waiting, "This is a demo: an invented archive in a temporary folder, removed when the window closes. All three stages can be tried.")
}

// demoListing fills in the demo's listing: at first an object is missing, later all are there.
func (w *Window) demoListing(whole bool) error {
	list, err := w.demo.Listing(whole)
	if err == nil {
		w.views[checks.Arrival].setup.to.put(list)
	}
	return err
}

// offerDemo shows, once a stage of the demo has ended with what is wrong in it, the button that puts that
// right. Only the demo has it.
func (w *Window) offerDemo(v *view) {
	if w.demo == nil || v.report == nil || v.report.Verdict != checks.Failed {
		v.head.offer("", nil)
		return
	}
	switch v.stage {
	case checks.After:
		v.head.offer("Repair the demo’s copy", func() {
			if err := w.demo.PutRight(); err != nil {
				w.tell(checks.Warned, err.Error())
				return
			}
			v.head.offer("", nil)
			w.tell(checks.Passed, "Three files were copied again. Check the copy once more.")
		})
	case checks.Arrival:
		v.head.offer("Use the demo’s later listing", func() {
			if err := w.demoListing(true); err != nil {
				w.tell(checks.Warned, err.Error())
				return
			}
			v.head.offer("", nil)
			w.tell(checks.Passed, "The later listing has every object. Check the arrival once more.")
		})
	default:
		v.head.offer("", nil)
	}
}
