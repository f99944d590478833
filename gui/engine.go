package gui

import (
	"context"
	"slices"

	"loadline/checks"
	"loadline/checks/after"
	"loadline/checks/arrival"
	"loadline/checks/arrival/listing"
	"loadline/checks/before"
	"loadline/checks/recheck"
	"loadline/checks/share"
)

// Request is one press of the button: a job, and for the stages after it the files to compare.
type Request struct {
	checks.Job
	CopyListFile string // empty means all of the source
	Manifest     string
	Listings     []string
	Disk         string          // for the arrival: the disk, to prove objects in parts from; empty: none
	Columns      listing.Columns // for the arrival: the person's own choice of columns
	Sample       float64         // for a recheck: per cent of the files to read; 0: all
	State        string          // folder for what is proven and for manifests
	Invented     string          // for the arrival: what of it is a demo's
}

// Engine is what the window drives. Tests give it a stand-in.
type Engine struct {
	// List returns the checks of a stage in the order in which they are shown.
	List func(checks.Stage) []*checks.Check
	// Run judges; it returns as soon as ctx ends. Watch is told of events, one at a time.
	Run func(ctx context.Context, r Request, watch func(checks.Event)) (*checks.Report, error)
}

// Stages are the three questions in their order.
var Stages = []checks.Stage{checks.Before, checks.After, checks.Arrival}

// viewStages are the stages that have a page of their own: the three, and the recheck of a copy.
var viewStages = append(slices.Clone(Stages), checks.Recheck)

// stageWords are what each stage is called, the question that it asks with what it needs for an answer, and what
// there is to know before it runs.
var stageWords = map[checks.Stage]struct{ name, short, button, question, needs, ready, next string }{
	checks.Before: {
		"Before copying", "Before", "Check before copying",
		"Which disk do you want to copy?", "Drop its folder on this window, type its path, or choose it. Nothing on the disk is changed.",
		"Ready to check", "The disk is only read. On the share one small trial folder is written, and removed again.",
	},
	checks.After: {
		"After copying", "After", "Check the copy",
		"Is every byte on the share?", "Choose the disk and the mounted share. Both are read, nothing is changed but the manifest that is written.",
		"Ready to check the copy", "Source and share are both read to the last byte: this takes about as long as the copy did. Keep the disk.",
	},
	checks.Arrival: {
		"After arrival", "Arrival", "Check the arrival",
		"Has every file arrived?", "Choose the manifest that the check after copying wrote, and a listing of the object store: a table, JSON, XML or checksum lines.",
		"Ready to check the arrival", "Loadline looks up every file of the manifest in the listing. Keep the disk until this says that you may erase it.",
	},
	checks.Recheck: {
		"Recheck of a copy", "Recheck", "Recheck the copy",
		"Is this copy whole?", "Choose the manifest, and the folder of any copy: a second disk, objects that were fetched back, the same disk years later.",
		"Ready to recheck the copy", "Every file of the manifest is looked up in the folder, read to its last byte and compared by its checksum. Nothing is changed.",
	},
}

// RealEngine runs the checks on the disk and the share.
func RealEngine() Engine {
	return Engine{List: listOf, Run: runReal}
}

func listOf(s checks.Stage) []*checks.Check {
	switch s {
	case checks.Before:
		return before.List()
	case checks.After:
		return after.New(after.Options{}).List()
	case checks.Arrival:
		return arrival.List()
	case checks.Recheck:
		return recheck.List()
	}
	return nil
}

func runReal(ctx context.Context, r Request, watch func(checks.Event)) (*checks.Report, error) {
	if r.CopyListFile != "" {
		var err error
		r.CopyList, err = share.Guard(ctx, 0, func() (*checks.CopyList, error) { return checks.OpenCopyList(r.CopyListFile) })
		if err != nil {
			return nil, &checks.JobError{Field: checks.FieldCopyList, Err: err, Hint: "choose another list, or leave the field empty"}
		}
	}
	switch r.Stage {
	case checks.After:
		return after.Run(ctx, r.Job, after.Options{State: r.State}, watch)
	case checks.Arrival:
		rep, err := arrival.Run(ctx, r.Manifest, r.Listings, arrival.Options{Version: r.Version, Columns: r.Columns, Source: r.Disk, State: r.State}, watch)
		if rep != nil {
			rep.Invented = r.Invented
		}
		return rep, err
	case checks.Recheck:
		return recheck.Run(ctx, r.Manifest, r.Source, recheck.Options{Version: r.Version, Sample: r.Sample, State: r.State}, watch)
	}
	return checks.Run(ctx, r.Job, listOf(r.Stage), watch)
}
