package before

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	readFails = &checks.Rule{
		ID: "read-fails", Level: checks.Fail,
		When:   "a read of the file ends in an error, or before its last byte",
		Fix:    "Save this file from another copy if there is one. Copy everything else off this disk before you ask it for this file again.",
		Source: "read(2); 8.5 % of nearline disks developed latent sector errors in 32 months (An Analysis of Latent Sector Errors in Disk Drives, SIGMETRICS 2007)",
	}
	slowReading = &checks.Rule{
		ID: "slow-reading", Level: checks.Warn,
		When:   "64 MiB or more read at under a tenth of the usual rate, twice over",
		Fix:    "The disk may be retrying: copy this file first, and plan to replace the disk.",
		Source: "common practice, no source",
	}
	knownChecksumDiffers = &checks.Rule{
		ID: "known-checksum-differs", Level: checks.Fail,
		When:   "a checksum list on the disk has a different checksum for the file",
		Fix:    "Find out which is right: the file may be damaged, or it was changed on purpose after the list was made. Then restore the file or make the list anew.",
		Source: "GNU coreutils documentation, sha256sum; RFC 8493 section 3",
	}
	knownChecksumMissing = &checks.Rule{
		ID: "known-checksum-missing", Level: checks.Warn,
		When:   "a checksum list on the disk names a file that is not there",
		Fix:    "Find the file: it may have been moved, renamed or lost since the list was made.",
		Source: "RFC 8493 section 3, \"complete\"",
	}
	sourceRotted = &checks.Rule{
		ID: "source-rotted", Level: checks.Fail,
		When: "read once more, the file holds something else than when it was first read, though its size and dates are the same",
		Fix: "Save this file from another copy if there is one, then replace the disk: it does not keep what it is given. " +
			"Only if you know that a program wrote to it and kept its date: give it a new date (touch), then read it again.",
		Source: "common practice, no source",
	}
	sameContent = &checks.Rule{
		ID: "same-content", Level: checks.Note,
		When:   "the file has 1 MiB or more and the same content as another",
		Fix:    "Nothing has to be done. To save space and time, leave all but one of them off the copy list.",
		Source: "FIPS 180-4 (SHA-256)",
	}
	diskErrors = &checks.Rule{
		ID: "disk-errors", Level: checks.Warn,
		When:   "the system has counted errors on this disk or its file system, or the disk reports that it is failing",
		Fix:    "Copy everything off this disk soon, most important first, and do not use it for anything else.",
		Source: "kernel documentation of ext4 sysfs, errors_count; Pinheiro et al., Failure Trends in a Large Disk Drive Population, FAST 2007",
	}
)

// A Reading is what the check that reads every file learned, for the checks and pages after it.
type Reading struct {
	Rate  float64 // bytes a second that the disk gave over the whole run; 0 where nothing was read
	Bytes int64   // that were read in this run
	read  everyByte
}

var everyByteReads = &checks.Check{
	ID: "every-byte-reads", Title: "Every file reads to its last byte", Group: checks.GroupFiles,
	Doc: "Reads every file that is to be copied, past the cache and in the order of the disk: what cannot be read " +
		"shows now, days before the copy, and not in the middle of it. The checksums that this makes are remembered, so " +
		"that the check after copying need not read the disk again; they are compared with the checksum lists that are " +
		"on the disk already. It takes hours, so it has to be asked for.",
	Fix:   "Save what cannot be read from another copy, and copy the rest off this disk first.",
	Rules: []*checks.Rule{readFails, slowReading, knownChecksumDiffers, knownChecksumMissing, sourceRotted, sameContent, diskErrors},
	Begin: beginReading,
	Visit: func(pass *checks.Pass, d *walk.Dir) { pass.State.(*Reading).read.visit(pass, d) },
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		r := pass.State.(*Reading)
		defer r.read.close()
		return r.finish(ctx, pass)
	},
}

// everyByte is the state of one run.
type everyByte struct {
	disks []*diskReading

	mu           sync.Mutex
	files, bytes int64 // seen whole, now or before
	remembered   int64 // of them before
	first, last  int64 // when, seconds since 1970
	failed       int64
	unstable     []string // changed or vanished while they were read
	closed       int64    // may not be opened
	unlisted     int64    // folders of which it is not known what is in them
	spared       int64    // clutter that may not be opened
	same         map[[16]byte][]placed
	sizes        map[[16]byte]int64
	badAt        []int64 // bytes that the run had read before
}

// A diskReading is what the run has of one source. What is remembered is remembered by disk.
type diskReading struct {
	*everyByte
	number   int
	root     string
	places   *digest.Places
	memory   *digest.Memory
	recalled error // why nothing is remembered, or can be

	list  digest.List // of what is to be read
	lists knownLists
	long  longSums

	before int64 // bytes that the run had read of the disks before it
	slow   []suspect
	rates  []float64
}

func beginReading(pass *checks.Pass) any {
	r := &Reading{read: everyByte{same: map[[16]byte][]placed{}, sizes: map[[16]byte]int64{}}}
	for i, d := range pass.Job.Disks() {
		e := &diskReading{everyByte: &r.read, number: i, root: d.Source}
		e.lists.root, e.lists.number = d.Source, i
		e.recalled = e.recall(pass.Context(), pass.Job)
		r.read.disks = append(r.read.disks, e)
	}
	return r
}

// recall opens what is remembered of the disk. Two folders of one disk share it.
func (e *diskReading) recall(ctx context.Context, job *checks.Job) (err error) {
	if e.places, err = digest.At(ctx, e.root, job.Deadline); err != nil || job.State == "" {
		return err
	}
	for _, d := range job.Disks() {
		in, err := share.Guard(ctx, job.Deadline, func() (bool, error) { return share.InsideOnce(d.Source, job.State) })
		switch {
		case share.Silent(err):
			return digest.ErrStateSilent
		case err == nil && in:
			return errors.New("the folder where this computer keeps its records is in the source, where nothing may be changed")
		}
	}
	for _, other := range e.disks {
		if other.memory != nil && other.places.ID() == e.places.ID() {
			e.memory = other.memory
			return other.recalled
		}
	}
	e.memory, err = digest.RecallIn(ctx, job.State, e.places.ID())
	return err
}

func (e *everyByte) close() {
	for _, d := range e.disks {
		d.list.Close()
		_ = d.memory.Close() // told where it was written
	}
}

// visit takes the files of a folder that are to be copied.
func (e *everyByte) visit(pass *checks.Pass, d *walk.Dir) { e.disks[d.Source].visit(pass, d) }

func (e *diskReading) visit(pass *checks.Pass, d *walk.Dir) {
	e.lists.see(d)
	e.unseen(pass, d)
	if pass.Job.Read {
		e.list.Add(d, func(f *walk.Entry) (int, bool) { return 0, pass.Copied(d, f) })
		return
	}
	if e.memory.Known() == 0 {
		return
	}
	for i := range d.Entries {
		f := &d.Entries[i]
		if f.Kind != walk.File || f.Failed || !pass.Copied(d, f) {
			continue
		}
		rec, ok := e.memory.Find(e.places.IdentIn(d, f))
		if !ok {
			if (names.Clutter(f.Name) || names.ClutterAbove(d.Path) != "") && errors.Is(d.Access(f.Name), fs.ErrPermission) {
				e.mu.Lock()
				e.spared++
				e.mu.Unlock()
			}
			continue
		}
		if path := d.Join(f.Name); rec.Whole() {
			e.whole(path, f.Size, &rec.Sums, rec.When, true)
			if found, rotted := e.rotted(path, f.Size, rec.Ident, &rec.Sums); rotted {
				pass.FlagFinding(d, found)
			}
		} else {
			e.mu.Lock()
			e.failed++
			e.mu.Unlock()
			pass.FlagFinding(d, checks.Finding{
				Path: strings.Clone(path), Rule: readFails, Level: checks.Fail, Size: f.Size,
				Detail: fmt.Sprintf("on %s it could not be read from byte %s on; %s lost", rec.When.Format(time.DateOnly), checks.Count(rec.Bad), lost(rec.Lost)),
				Part:   &checks.Part{Offset: rec.Bad, Length: rec.Lost},
			})
		}
	}
}

// unseen counts what is to be copied but could not be looked at, and so will not be read either.
func (e *diskReading) unseen(pass *checks.Pass, d *walk.Dir) {
	inside := names.ClutterAbove(d.Path) != ""
	closed, unlisted := int64(0), int64(0)
	var gone []string
	if d.Err != nil && !inside && (d.Path == "" || pass.Job.CopiesFolder(d.Path)) {
		unlisted++
	}
	for i := range d.Entries {
		f := &d.Entries[i]
		if !f.Failed {
			continue
		}
		path := d.Join(f.Name)
		missing, clutter := errors.Is(d.Why(f.Name), fs.ErrNotExist), inside || names.Clutter(f.Name)
		switch {
		case f.Kind == walk.File && !pass.Job.CopiesFile(path), f.Kind == walk.Folder && !pass.Job.CopiesFolder(path):
		case f.Kind != walk.File && f.Kind != walk.Folder:
		case missing:
			gone = append(gone, path)
		case clutter:
		case f.Kind == walk.File:
			closed++
		default:
			unlisted++
		}
	}
	if closed+unlisted == 0 && gone == nil {
		return
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.closed += closed
	e.unlisted += unlisted
	e.unstable = append(e.unstable, gone...)
}

// rotted compares what a file holds with what it held when it was first read in its present state.
func (e *diskReading) rotted(path string, size int64, id digest.Ident, s *sums.Sums) (found checks.Finding, rotted bool) {
	was, ok := e.memory.First(id)
	if !ok || was.Sums.SHA256 == s.SHA256 {
		return found, false
	}
	return checks.Finding{
		Source: e.number, Path: strings.Clone(path), Rule: sourceRotted, Level: checks.Fail, Size: size,
		Detail: fmt.Sprintf("its SHA-256 is %x…, it was %x… on %s; size and dates are the same", s.SHA256[:8], was.Sums.SHA256[:8], was.When.Format(time.DateOnly)),
	}, true
}

// whole counts a file that was read to its last byte, now or before.
func (e *diskReading) whole(path string, size int64, s *sums.Sums, when time.Time, before bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.files++
	e.bytes = walk.AddSizes(e.bytes, size)
	if before {
		e.remembered++
		at := when.Unix()
		e.last = max(e.last, at)
		if e.first == 0 || at < e.first {
			e.first = at
		}
	}
	if size >= sameContentFrom {
		key := [16]byte(s.SHA256[:16])
		e.same[key] = append(e.same[key], placed{e.number, strings.Clone(path)})
		e.sizes[key] = size
	}
}

// finish reads, or says what is remembered.
func (r *Reading) finish(ctx context.Context, pass *checks.Pass) error {
	e := &r.read
	if pass.Job.StandIn == nil {
		e.askDisk(ctx, pass)
	}
	n := pass.Tally().Copy
	if n.Files == 0 {
		return &checks.NotAsked{Why: "There is no file to read.", Optional: true}
	}
	var err error
	if pass.Job.Read {
		err = r.readAll(ctx, pass)
	} else {
		pass.Phase(checks.Phase{Text: "Comparing with checksum lists"})
		for _, d := range e.disks {
			if err = d.lists.recall(ctx, pass, d); err != nil {
				break
			}
		}
	}
	if ctx.Err() != nil {
		e.tellMemory(pass)
		return ctx.Err()
	}
	e.flagSame(pass)
	e.describe(pass)
	if err == nil && !pass.Job.Read {
		err = e.notAsked(pass, &n)
	}
	switch {
	case err != nil:
		return err
	case len(e.unstable) > 0:
		return fmt.Errorf("%s changed or vanished while being read, %s among them; close every program that uses the disk, then read again: only these are read",
			checks.Plural(int64(len(e.unstable)), "file"), names.Quote(slices.Min(e.unstable)))
	case e.closed > 0:
		return fmt.Errorf("you may not open %s: see “%s”", checks.Plural(e.closed, "file"), permissions.Title)
	case e.unlisted > 0:
		return fmt.Errorf("%s could not be listed, so what is in there was not read: see “%s”", checks.Plural(e.unlisted, "folder"), permissions.Title)
	}
	return nil
}

// usualRate is what a carried disk reads where nothing better is known, bytes a second, and usbRate what a USB
// 2.0 link of 480 Mb/s leaves of that (common practice, no source).
const (
	usualRate = 150e6
	usbRate   = 38e6
)

// notAsked says what is not known yet and how long it would take to know it; nil where all is remembered.
func (e *everyByte) notAsked(pass *checks.Pass, n *checks.CopyTotals) error {
	if e.files+e.failed+e.spared == n.Files {
		return nil
	}
	rate := usualRate
	if f := pass.Job.StandInSource; f != nil && f.Rate > 0 {
		rate = f.Rate
	} else if slices.ContainsFunc(e.disks, func(d *diskReading) bool {
		usb, err := share.Guard(context.Background(), pass.Job.Deadline, func() (int, error) { return disk.USBSpeed(d.root), nil })
		return err == nil && usb > 0 && usb <= 480
	}) {
		rate = usbRate
	}
	left := max(n.Bytes-e.bytes, 0)
	takes := fmt.Sprintf("%s at %s", checks.Span(seconds(math.Ceil(float64(left)/rate))), checks.Rate(rate))
	if e.files == 0 {
		return &checks.NotAsked{Optional: true, Why: fmt.Sprintf("Nothing was read yet: reading %s takes about %s.", checks.Bytes(left), takes)}
	}
	return &checks.NotAsked{Optional: true, Why: fmt.Sprintf("%s of %s read before; reading the other %s takes about %s.",
		checks.Count(e.files), checks.Plural(n.Files, "file"), checks.Bytes(left), takes)}
}

// describe writes what was done onto the card.
func (e *everyByte) describe(pass *checks.Pass) {
	n := pass.Tally().Copy
	now := e.files - e.remembered
	if pass.Job.Read {
		pass.Fact("files_read", now, "Read to the last byte now: %s of %s", checks.Count(now), checks.Plural(n.Files, "file"))
	}
	switch from, to := time.Unix(e.first, 0).Format(time.DateOnly), time.Unix(e.last, 0).Format(time.DateOnly); {
	case e.remembered == 0 && pass.Job.Read:
		pass.Fact("remembered", e.remembered, "Remembered from an earlier reading: none")
	case e.remembered == 0:
	case from == to:
		pass.Fact("remembered", e.remembered, "Read on %s and unchanged since: %s", from, checks.Plural(e.remembered, "file"))
	default:
		pass.Fact("remembered", e.remembered, "Read between %s and %s and unchanged since: %s", from, to, checks.Plural(e.remembered, "file"))
	}
	describeLists(pass, e.disks)
	e.tellMemory(pass)
	switch {
	case e.failed > 0:
		pass.Summarize("%s of %s cannot be read to the last byte.", checks.Count(e.failed), checks.Plural(n.Files, "file"))
	case pass.Job.Read && e.remembered > 0:
		pass.Summarize("%s read to the last byte, %s; %s of them before.", checks.Plural(e.files, "file"), checks.Bytes(e.bytes), checks.Count(e.remembered))
	case e.files > 0:
		pass.Summarize("%s read to the last byte, %s.", checks.Plural(e.files, "file"), checks.Bytes(e.bytes))
	}
}

// tellMemory says why the next reading has nothing of this one.
func (e *everyByte) tellMemory(pass *checks.Pass) {
	for _, d := range e.disks {
		if d.recalled == nil || !pass.Job.Read && d.memory == nil {
			continue
		}
		of := ""
		if len(e.disks) > 1 {
			of = fmt.Sprintf(" of disk %d", d.number+1)
		}
		pass.Fact(digest.MemoryError, d.recalled.Error(), "What was read%s could not be remembered: %s", of, checks.Plain(checks.Reason(d.recalled)))
		return
	}
}

// remembers reports whether what was read is remembered.
func (e *everyByte) remembers() bool {
	return !slices.ContainsFunc(e.disks, func(d *diskReading) bool { return d.memory == nil || d.recalled != nil })
}

// kept says what the next reading has of this one.
func (e *everyByte) kept() string {
	if e.remembers() {
		return "what was read is remembered"
	}
	return "what was read could not be remembered"
}

// sameContentFrom is from which size on equal files are worth a word, bytes (common practice, no source).
const sameContentFrom = 1 << 20

// flagSame reports files of equal content.
func (e *everyByte) flagSame(pass *checks.Pass) {
	saved := int64(0)
	for key, paths := range e.same {
		if len(paths) < 2 {
			continue
		}
		slices.SortFunc(paths, comparePlaced)
		for _, p := range paths[1:] {
			saved = walk.AddSizes(saved, e.sizes[key])
			detail := "the same content as " + names.Quote(paths[0].path)
			if p.source != paths[0].source {
				detail += fmt.Sprintf(" on disk %d", paths[0].source+1)
			}
			pass.Add(checks.Finding{Source: p.source, Path: p.path, Rule: sameContent, Level: checks.Note, Size: e.sizes[key], Detail: detail})
		}
	}
	if saved > 0 {
		pass.Fact("same_content_bytes", saved, "Could be saved by copying equal files once: %s", checks.Bytes(saved))
	}
}

// askDisk reports bad signs that the system and the disks know of.
func (e *everyByte) askDisk(ctx context.Context, pass *checks.Pass) {
	var asked []string
	for _, d := range e.disks {
		for _, ask := range []func() ([]disk.Trouble, []string, error){
			func() ([]disk.Trouble, []string, error) { return disk.Troubles(d.root) },
			func() ([]disk.Trouble, []string, error) { return disk.Health(ctx, d.root) },
		} {
			type answer struct {
				found []disk.Trouble
				asked []string
			}
			a, err := share.Guard(ctx, pass.Job.Deadline, func() (answer, error) {
				found, asked, err := ask()
				return answer{found, asked}, err
			})
			if err != nil {
				continue // nothing is known, and nothing is made of it
			}
			for _, t := range a.found {
				pass.Add(checks.Finding{Source: d.number, Rule: diskErrors, Level: diskErrors.Level, Detail: checks.Plain(t.String())})
			}
			for _, what := range a.asked {
				if !slices.Contains(asked, what) {
					asked = append(asked, what)
				}
			}
		}
	}
	if len(asked) > 0 {
		pass.Fact("disk_signs", strings.Join(asked, ", "), "Checked for signs of a failing disk: %s", checks.Plain(strings.Join(asked, ", ")))
	}
}
