// Package split deals the files of a source out to several boxes, one copy list a box. It judges no name
// and copies nothing.
//
// Folders stay together as far as they can. What is dealt out is a piece: a folder with all that is below
// it, or the files of one folder that share a stem. The largest piece comes first, and each goes into the
// first box that has room for it with its margin (first fit by decreasing size). A piece that fits nowhere is
// opened, and all is dealt out anew with its parts in its place, but a camera card, a bundle, or a folder
// that holds files of its own is opened only if it is larger than every box.
package split

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"loadline/checks"
)

// A Box is what one appliance takes.
type Box struct {
	Size   int64 // bytes
	Inodes int64 // files and folders; 0 means unknown
}

// Options are the boxes, and how they count.
type Options struct {
	Boxes []Box
	Unit  int64 // bytes that a box allocates at a time; 0 means checks.UsualUnit
}

// A Plan says what goes into which box.
type Plan struct {
	Source  string
	Version string
	Unit    int64 // bytes that a box allocates at a time
	Files   int64 // that are to be copied
	Bytes   int64
	// Loads are in the order in which the boxes were given; boxes of one size are in the order of the
	// first paths of their lists.
	Loads []Load
	Torn  []Torn // folders whose files are not in one box, sorted by path
	Left  []Left // what is on no list, sorted by path

	root *node
}

// A Load is what goes into one box.
type Load struct {
	Box
	Files, Folders, Bytes int64
	Need                  checks.Need
	Holds                 []Part // sorted by path
	List                  string // file of the copy list; empty where none was written
}

// A Part is a folder in a box, sums included.
type Part struct {
	Path         string // relative to the source; empty is the source itself
	Files, Bytes int64
	Whole        bool // with all that is below it; otherwise only files that are in the folder itself
}

// Torn is a folder that was opened.
type Torn struct {
	Path string
	Why  string // a clause
}

// Left is what goes into no box.
type Left struct {
	Path         string
	Files, Bytes int64 // of a folder all that is below it
	Rule         *checks.Rule
	Why          string // a clause
}

var (
	fitsNoBox = &checks.Rule{
		ID: "fits-no-box", Level: checks.Fail,
		When:   "no box has room for it, its margin included",
		Fix:    "Add a box, or take a larger one; a folder that is kept whole can be moved apart on the disk.",
		Source: "as free-space: allocation units, files and folders, 2 % and the largest file to spare",
	}
	onNoList = &checks.Rule{
		ID: "on-no-list", Level: checks.Fail,
		When:   "it is not a file that can be listed: a link, a special file, a folder that cannot be read, a path of the copy list that is not there",
		Fix:    "Replace links with copies by “Fix names” (as a command: fix -replace-link); then make the lists again.",
		Source: "a copy list names regular files",
	}
	tornApart = &checks.Rule{
		ID: "torn-apart", Level: checks.Note,
		When:   "the files of a folder are in more than one box",
		Fix:    "Check whether a larger box is available.",
		Source: "common practice, no source",
	}
)

// boxes is the one check of a run: it gathers what is on the source, and deals it out.
func boxes(p *Plan, o Options) *checks.Check {
	return &checks.Check{
		ID: "boxes", Title: "Everything goes into a box", Group: checks.GroupCopy,
		Doc: "Divides the files of the source among several boxes, one copy list each: the largest folder first, each into " +
			"the first box that has room for it and the margin that a copy should have. A camera card, a bundle, or a " +
			"folder that holds files of its own is taken apart only if it is larger than every box; a folder that holds " +
			"only folders also where it fits nowhere as a whole. Files that share a stem stay together.",
		Fix:   "Add a box, or take a larger one.",
		Rules: []*checks.Rule{fitsNoBox, onNoList, tornApart},
		Begin: func(pass *checks.Pass) any { return newGathered(o.Unit, pass.Workers()) },
		Visit: gather,
		Finish: func(ctx context.Context, pass *checks.Pass) error {
			pass.Phase(checks.Phase{Text: "Filling the boxes"})
			if err := p.deal(ctx, pass, o); err != nil {
				return err
			}
			for _, l := range p.Left {
				pass.Add(checks.Finding{Path: l.Path, Rule: l.Rule, Level: l.Rule.Level, Size: l.Bytes, Detail: l.Why})
			}
			for _, t := range p.Torn {
				pass.Add(checks.Finding{Path: t.Path, Rule: tornApart, Level: tornApart.Level, Detail: t.Why})
			}
			pass.Summarize("%s", p.Summary())
			return nil
		},
	}
}

// List is the list of checks of a run, for the handbook.
func List() []*checks.Check { return []*checks.Check{boxes(&Plan{}, Options{})} }

// Make reads the source and deals its files out. A job that cannot be run, boxes that make no sense and a
// source without a file are errors that wrap checks.ErrBadJob; if ctx ends, the error wraps that of ctx.
// Of the job, Source, CopyList, Workers, Deadline, Expect and Version count. Memory grows with the names on the
// source.
func Make(ctx context.Context, job checks.Job, o Options, watch func(checks.Event)) (*Plan, error) {
	if len(o.Boxes) == 0 {
		return nil, fmt.Errorf("%w: no box given; say how much each takes", checks.ErrBadJob)
	}
	for i, b := range o.Boxes {
		if b.Size <= 0 || b.Inodes < 0 {
			return nil, fmt.Errorf("%w: box %d takes nothing; say how much it takes", checks.ErrBadJob, i+1)
		}
	}
	o.Unit = cmp.Or(o.Unit, checks.UsualUnit)
	if o.Unit < 0 {
		return nil, fmt.Errorf("%w: a box allocates at least one byte at a time", checks.ErrBadJob)
	}
	// Of the stage before copying: findings on what is not on a given copy list would be notes, but there
	// are none.
	job.Stage, job.Share = checks.Before, ""
	p := &Plan{Unit: o.Unit, Version: job.Version}
	rep, err := checks.Run(ctx, job, []*checks.Check{boxes(p, o)}, watch)
	if err != nil {
		return nil, err
	}
	if r := &rep.Checks[0]; r.Reason != "" {
		return nil, errors.New(r.Reason)
	}
	p.Source = rep.Job.Source
	return p, nil
}

// Summary says in a sentence how it stands.
func (p *Plan) Summary() string {
	used, files, bytes := 0, int64(0), int64(0)
	for _, l := range p.Loads {
		if l.Files > 0 {
			used++
		}
		files += l.Files
		bytes += l.Bytes
	}
	where := checks.Plural(int64(used), "box")
	switch {
	case len(p.Left) == 0:
		return fmt.Sprintf("Everything goes into %s: %s, %s.", where, checks.Plural(files, "file"), checks.Bytes(bytes))
	case files == p.Files:
		return fmt.Sprintf("Every file goes into %s: %s, %s; but not everything is a file that could be listed.", where, checks.Plural(files, "file"), checks.Bytes(bytes))
	}
	return fmt.Sprintf("Not everything goes into the boxes: %s of %s, %s of %s.",
		checks.Count(files), checks.Plural(p.Files, "file"), checks.Bytes(bytes), checks.Bytes(p.Bytes))
}
