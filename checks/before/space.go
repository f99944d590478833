package before

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	tooFewBytes = &checks.Rule{
		ID: "too-few-bytes", Level: checks.Fail,
		When:   "the copy needs more bytes than are free on the share",
		Fix:    "Free space on the share, leave something out, or ask for a larger appliance.",
		Source: "statfs(2); measured: the allocation unit of the share counts, hard links each, sparse files in full",
	}
	thinMargin = &checks.Rule{
		ID: "thin-margin", Level: checks.Warn,
		When:   "less than 2 % of the copy, or less than its largest file, would be left",
		Fix:    "Leave something out, so that a second attempt at the largest file fits.",
		Source: "common practice, no source",
	}
	leftOffList = &checks.Rule{
		ID: "left-off-list", Level: checks.Warn,
		When:   "files of the source are not on the copy list, so they will not travel",
		Fix:    "Look through the skip list: what is on it stays on this disk only.",
		Source: "the copy list that was given",
	}
	tooFewInodes = &checks.Rule{
		ID: "too-few-inodes", Level: checks.Fail,
		When:   "there are more files and folders than the share can still hold",
		Fix:    "Pack folders of many small files into one file each (POSIX pax).",
		Source: "statfs(2) f_ffree; measured",
	}
)

// spaceState adds up what the copy takes up on the share.
type spaceState struct {
	unit    int64
	rounded atomic.Int64
}

// terabyte is 10^12 bytes (IEC 80000-13): capacities are offered in whole ones.
const terabyte = int64(1e12)

var freeSpace = &checks.Check{
	ID: "free-space", Title: "The copy fits on the share", Group: checks.GroupShare,
	Doc: "Adds up every file, rounded up to what the share allocates at a time; hard links count once for each name and " +
		"sparse files in full, since that is how they arrive. What is on the share already with the same " +
		"size, from a copy that was begun, is subtracted.",
	Fix:   "Free space on the share, leave something out, or ask for a larger appliance.",
	Rules: []*checks.Rule{tooFewBytes, thinMargin, tooFewInodes, shareFull, leftOffList},
	Begin: func(pass *checks.Pass) any {
		s := &spaceState{unit: checks.UsualUnit}
		if got := checks.StateOf[share.Result](pass, shareWrites); got != nil && got.Unit > 0 {
			s.unit = got.Unit
		}
		return s
	},
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		s := pass.State.(*spaceState)
		sum := int64(0)
		for i := range d.Entries {
			if e := &d.Entries[i]; e.Kind == walk.File && pass.Copied(d, e) {
				sum = walk.AddSizes(sum, checks.RoundUp(e.Size, s.unit))
			}
		}
		for old := s.rounded.Load(); !s.rounded.CompareAndSwap(old, walk.AddSizes(old, sum)); {
			old = s.rounded.Load()
		}
	},
	Finish: finishSpace,
}

func finishSpace(ctx context.Context, pass *checks.Pass) error {
	s := pass.State.(*spaceState)
	n := &pass.Tally().Copy
	need := s.rounded.Load()
	entries := n.Files + n.Folders
	doubles, err := foretold(ctx, pass)
	if err != nil {
		return err
	}
	if doubles.Files > 0 {
		// Each is rounded up for itself; they are all about as long.
		more := doubles.Files * checks.RoundUp((doubles.Bytes+doubles.Files-1)/doubles.Files, s.unit)
		need, entries = walk.AddSizes(need, more), entries+doubles.Files
		pass.Fact("apple_double_bytes", more, "Of which for attributes in files named ._NAME: %s, %s", checks.Plural(doubles.Files, "file"), checks.Bytes(more))
	}
	pass.Fact("need_bytes", need, "Needed: %s (%s bytes), in units of %s", checks.Bytes(need), checks.Count(need), checks.Count(s.unit))
	if list := pass.Job.CopyList; list != nil {
		pass.Fact("listed", list.Len(), "The copy list names %s, %s of them on the source", checks.Plural(list.Len(), "file"), checks.Count(n.Files))
		if all := pass.Tally(); all.Files > n.Files {
			pass.FlagJob(leftOffList, "%s, %s", checks.Plural(all.Files-n.Files, "file"), checks.Bytes(all.Bytes-n.Bytes))
		}
	}
	pass.Fact("need_inodes", entries, "Files and folders: %s", checks.Count(entries))
	m := checks.StateOf[shareState](pass, ShareMounted)
	if m == nil || m.Facts == nil || !m.Usable {
		planCapacity(pass, need)
		if pass.Job.Share == "" {
			return errors.New("no share chosen yet")
		}
		if m == nil {
			return errors.New("nothing is known about the share")
		}
		return errors.New("not compared: " + m.Why)
	}
	if err := stillMounted(ctx, pass, m.Facts); err != nil {
		return err
	}
	if w := pass.Earlier(shareWrites); w != nil && w.Total(shareFull) > 0 {
		pass.FlagJob(shareFull, "the write trial found the share full; its free space may be limited by a quota")
	}
	var there present
	for _, d := range pass.Job.Disks() {
		p, err := alreadyThere(ctx, pass, d, s.unit)
		if err != nil {
			return err
		}
		there.files, there.folders, there.bytes = there.files+p.files, there.folders+p.folders, walk.AddSizes(there.bytes, p.bytes)
	}
	if there.files+there.folders > 0 {
		pass.Fact("already_bytes", there.bytes, "Already there with the same size: %s, %s", checks.Plural(there.files, "file"), checks.Bytes(there.bytes))
		need -= there.bytes
		entries -= there.files + there.folders
	}
	space := m.Facts.Space
	if space.Free < 0 {
		return errors.New("the share does not say how much is free")
	}
	left := space.Free - need
	pass.Fact("free_bytes", space.Free, "Free: %s of %s", checks.Bytes(space.Free), checks.Bytes(space.Total))
	pass.Fact("total_bytes", space.Total, "Size of the share: %s", checks.Bytes(space.Total))
	pass.Fact("left_bytes", left, "Left after the copy: %s", checks.Bytes(left))
	asked := checks.Need{Bytes: need, Inodes: entries, Largest: n.LargestFile}
	switch {
	case left < 0:
		pass.FlagJob(tooFewBytes, "the copy needs %s bytes, %s are free: %s too few", checks.Count(need), checks.Count(space.Free), checks.Bytes(-left))
	case need > 0 && left < asked.Reserve():
		pass.FlagJob(thinMargin, "%s would be left, 2 %% of the copy is %s", checks.Bytes(left), checks.Bytes(asked.Reserve()))
	case need > 0 && left < n.LargestFile:
		pass.FlagJob(thinMargin, "%s would be left, the largest file has %s", checks.Bytes(left), checks.Bytes(n.LargestFile))
	}
	pass.Fact("margin_bytes", asked.Margin(), "Should be left: %s", checks.Bytes(asked.Margin()))
	if space.TotalInodes > 0 && space.FreeInodes >= 0 {
		pass.Fact("free_inodes", space.FreeInodes, "Files and folders that the share can still hold: %s", checks.Count(space.FreeInodes))
		if entries > space.FreeInodes {
			pass.FlagJob(tooFewInodes, "%s files and folders, the share has room for %s", checks.Count(entries), checks.Count(space.FreeInodes))
		}
	}
	if left < 0 {
		pass.Summarize("%s needed, %s free: %s too few.", checks.Bytes(need), checks.Bytes(space.Free), checks.Bytes(-left))
	} else {
		pass.Summarize("%s needed, %s free; %s would be left.", checks.Bytes(need), checks.Bytes(space.Free), checks.Bytes(left))
	}
	return nil
}

// planCapacity says what to rent while there is no share to measure.
func planCapacity(pass *checks.Pass, need int64) {
	want := checks.Need{Bytes: need, Largest: pass.Tally().Copy.LargestFile}.Room()
	whole := (want-1)/terabyte + 1
	pass.Fact("plan_bytes", want, "Needed with room to spare: %s", checks.Bytes(want))
	pass.Fact("plan_whole_terabytes", whole, "Rounded up: a capacity of %d TB", whole)
	box := pass.Job.Box
	switch {
	case box == 0:
		pass.Summarize("You need a capacity of %d TB: %s with room to spare, rounded up.", whole, checks.Bytes(want))
	case want <= box:
		pass.Fact("box_bytes", box, "The box that is offered holds %s: %s would be left", checks.Bytes(box), checks.Bytes(box-need))
		pass.Summarize("%s needed; the box of %s holds it.", checks.Bytes(want), checks.Bytes(box))
	default:
		pass.Fact("box_bytes", box, "The box that is offered holds %s: %s too few", checks.Bytes(box), checks.Bytes(want-box))
		if need > box {
			pass.FlagJob(tooFewBytes, "the copy needs %s bytes, the box holds %s: %s too few", checks.Count(need), checks.Count(box), checks.Bytes(need-box))
		} else {
			pass.FlagJob(thinMargin, "%s would be left; %s should be", checks.Bytes(box-need), checks.Bytes(want-need))
		}
		pass.Summarize("%s needed; the box of %s is too small.", checks.Bytes(want), checks.Bytes(box))
	}
}

// present is what of the copy is on the share already.
type present struct{ files, folders, bytes int64 }

// alreadyThere compares what is on the share under the prefix of a disk with the disk, so that a second
// run after half a copy asks only for the rest. It reads the share's side, which is empty or small
// as a rule, and looks up each file on the source.
func alreadyThere(ctx context.Context, pass *checks.Pass, disk checks.Disk, unit int64) (present, error) {
	base := filepath.Join(pass.Job.Share, filepath.FromSlash(disk.Prefix))
	if disk.Prefix != "" {
		_, err := share.Guard(ctx, pass.Job.Deadline, func() (fs.FileInfo, error) { return os.Lstat(base) })
		if errors.Is(err, fs.ErrNotExist) {
			return present{}, nil
		}
		if err != nil {
			return present{}, fmt.Errorf("the folder on the share cannot be looked at: %w", err)
		}
	}
	pass.Phase(checks.Phase{Text: "Reading what is on the share already"})
	var files, folders, bytes atomic.Int64
	o := walk.Options{Visit: func(d *walk.Dir) {
		if d.Depth > 0 && d.Err == nil && pass.Job.CopiesFolder(d.Path) {
			if e, err := walk.Look(disk.Source, d.Path); err == nil && e.Kind == walk.Folder {
				folders.Add(1)
			}
		}
		for i := range d.Entries {
			e := &d.Entries[i]
			if e.Kind != walk.File || e.Failed || !pass.Job.CopiesFile(d.Join(e.Name)) {
				continue
			}
			if o, err := walk.Look(disk.Source, d.Join(e.Name)); err == nil && o.Kind == walk.File && o.Size == e.Size {
				files.Add(1)
				bytes.Add(checks.RoundUp(e.Size, unit))
			}
		}
	}}
	o.Workers = o.Resolve(base)
	if err := checks.WalkShare(ctx, pass.Job.Deadline, base, o); err != nil {
		return present{}, fmt.Errorf("what is on the share already could not be read: %w", err)
	}
	return present{files.Load(), folders.Load(), bytes.Load()}, nil
}
