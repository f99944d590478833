package seal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// Options are the wishes of a caller; the zero value checks, but remembers and writes nothing.
type Options struct {
	// State is a folder on this machine: what is proven is remembered there, so that a run that
	// was stopped is resumed, and manifests are kept there. Empty: neither.
	State string
	// Manifest, if set, is the file of the manifest on this machine. It must not exist.
	Manifest string
	// Bag, if set, is a new folder for the tag files of a bag (RFC 8493) whose payload is the copy.
	Bag string
	// NoMD5 leaves MD5 out of the manifest: faster where two cores are too few. Most listings of
	// stores hold no better checksum.
	NoMD5 bool
	// Fresh forgets what earlier runs have proven.
	Fresh bool
	// Silence is how long a side may stay silent while its files are read; 0 means one minute,
	// the time after which NFS over TCP repeats a request (nfs(5), timeo=600).
	Silence time.Duration
}

const defaultSilence = time.Minute

// A Stage is one run of the stage after copying. Make a new one for every run.
type Stage struct {
	a    *after
	list []*checks.Check
}

// NewAfter prepares the stage after copying.
func NewAfter(o Options) *Stage {
	if o.Silence == 0 {
		o.Silence = defaultSilence
	}
	a := &after{o: &o, tree: &tree{byPath: map[string]int32{}}, journalEvery: 5 * time.Second}
	return &Stage{a: a, list: checksOf(a)}
}

// List returns the checks in their order.
func (s *Stage) List() []*checks.Check { return s.list }

// Run compares the source of a job with its copy on the share, and reports; see checks.Run. Besides,
// it writes the manifest if everything is proven: Report.Manifest then names the file on this machine.
// Memory: about 200 bytes a file, and 70 MB of blocks.
func (s *Stage) Run(ctx context.Context, job checks.Job, watch func(checks.Event)) (*checks.Report, error) {
	a := s.a
	job.Stage = checks.After
	if job.Share == "" {
		return nil, fmt.Errorf("%w: no share chosen; choose the folder where the share is mounted", checks.ErrBadJob)
	}
	if err := a.refuse(ctx, &job); err != nil {
		return nil, err
	}
	if watch == nil {
		watch = func(checks.Event) {}
	}
	defer lean()()
	rep, err := checks.Run(ctx, job, s.list, func(e checks.Event) {
		// Where the share is not mounted, or is the source's own disk, a copy may be whole, but it
		// does not travel: no manifest then, as after any other failure.
		if e.Result != nil && e.Result.Status == checks.Failed {
			a.flawed.Store(true)
		}
		a.meter.fill(&e.Progress)
		watch(e)
	})
	if rep != nil {
		rep.Manifest = a.manifest
	}
	return rep, err
}

// lean makes the collector run early until the returned function is called. Nearly all memory of a
// large job is tables without pointers, which cost it nothing to look at: a heap of twice their size
// would be for nothing.
func lean() (usual func()) {
	before := debug.SetGCPercent(30)
	return func() { debug.SetGCPercent(before) }
}

// After is Run of a new Stage.
func After(ctx context.Context, job checks.Job, o Options, watch func(checks.Event)) (*checks.Report, error) {
	return NewAfter(o).Run(ctx, job, watch)
}

// after is what the checks of one run share.
type after struct {
	o     *Options
	tree  *tree
	meter meter

	// flawed is set by every failure: then nothing is proven and no manifest is written.
	flawed   atomic.Bool
	facts    *share.Facts
	copy     string // folder of the copy
	prefix   string // of it on the share
	leftOut  int64  // files of clutter that were not copied
	unlisted int64  // files that are neither on the copy list nor on the share
	manifest string
	// stateInSource: nothing may be remembered there.
	stateInSource bool

	// onProven, if set, is told how many files are proven: for tests.
	onProven func(int64)
	// journalEvery is how much time of reading a crash may cost.
	journalEvery time.Duration

	mu     sync.Mutex
	extras extras
}

// fail reports a failure.
func (a *after) fail(pass *checks.Pass, r *checks.Rule, path string, size int64, format string, args ...any) {
	a.flawed.Store(true)
	pass.Add(checks.Finding{Path: path, Rule: r, Level: checks.Fail, Size: size, Detail: fmt.Sprintf(format, args...)})
}

// visit takes a folder of the source.
func (a *after) visit(pass *checks.Pass, d *walk.Dir) {
	if d.Err != nil {
		a.fail(pass, unreadableSource, d.Path, 0, "the folder cannot be listed: %v", plain(d.Err))
	}
	a.tree.addFolder(d)
	for i := range d.Entries {
		e := &d.Entries[i]
		switch {
		case e.Failed:
			a.fail(pass, unreadableSource, d.Join(e.Name), 0, "%v", plain(d.Why(e.Name)))
		case e.Kind == walk.Link:
			pass.Flag(d, e, linkNotChecked, "a link holds no content")
		case e.Kind == walk.Other:
			pass.Flag(d, e, specialNotChecked, "a special file holds no content")
		}
	}
}

// onShare is the Finish of its check: it walks the copy and compares.
func (a *after) onShare(ctx context.Context, pass *checks.Pass) error {
	job := pass.Job
	a.copy = filepath.Join(job.Share, filepath.FromSlash(job.Prefix))
	a.prefix = job.Prefix
	if err := a.look(ctx, job); err != nil {
		return err
	}
	a.settleState(ctx, job)
	if err := a.offShare(ctx, pass); err != nil {
		return err
	}
	if !job.NoTrial {
		// A share that is silent, or lists for long, is told by the walk.
		_, _ = share.Guard(ctx, job.Deadline, func() (struct{}, error) { sweep(a.beside(job)); return struct{}{}, nil })
	}
	if a.tree.count == 0 {
		a.fail(pass, nothingToCheck, "", 0, "no file in %s", names.Quote(job.Source))
	}
	dates := int64(0)
	o := walk.Options{Visit: func(d *walk.Dir) { a.match(pass, d, &dates) }, Progress: &a.meter.share}
	a.meter.phase("Reading the folders of the share")
	err := checks.WalkShare(ctx, max(job.Deadline, a.o.Silence), a.copy, o)
	a.meter.phase("")
	switch {
	case err == nil:
	case ctx.Err() != nil:
		return ctx.Err()
	case isSilent(err):
		return fmt.Errorf("the share has stopped to answer: %w; look at its cable, power and network, then check again", err)
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR):
		a.fail(pass, noCopy, "", 0, "there is no folder %s", names.Quote(a.copy))
		a.hint(ctx, pass, a.tree.count)
		pass.Summarize("The folder of the copy is not there.")
		return nil
	default:
		return fmt.Errorf("the folder of the copy cannot be read: %w", err)
	}
	a.followList(pass)
	missing, missingBytes := a.absent(pass)
	a.hint(ctx, pass, missing)
	if n := atomic.LoadInt64(&dates); n > 0 {
		pass.Count(&walk.Dir{}, dateDiffers, n)
	}
	pass.Fact("files", a.tree.count, "Files on the source: %s, %s", checks.Count(a.tree.count), checks.Bytes(a.tree.bytes))
	if missing > 0 {
		pass.Fact("missing_files", missing, "Not on the share: %s, %s", checks.Plural(missing, "file"), checks.Bytes(missingBytes))
	}
	differ := pass.Total(sizeDiffers) + pass.Total(kindDiffers) + pass.Total(sourceChanged)
	switch {
	case a.tree.count == 0:
		pass.Summarize("There is nothing to check.")
	case missing > 0 || differ > 0:
		pass.Summarize("Of %s, %s missing, %s different in size or kind.", checks.Plural(a.tree.count, "file"), checks.Count(missing), checks.Count(differ))
	default:
		pass.Summarize("All of %s are there, of the right size.", checks.Plural(a.travelling(), "file"))
	}
	return nil
}

// look sees that the two sides are two.
func (a *after) look(ctx context.Context, job *checks.Job) error {
	nested, err := share.Guard(ctx, job.Deadline, func() (bool, error) { return share.Nested(job.Source, job.Share) })
	if err == nil && nested {
		a.flawed.Store(true)
		return errors.New("source and share lie in one another, so there is no copy to check; choose two folders that lie apart")
	}
	if a.facts = job.StandIn; a.facts == nil {
		if a.facts, err = share.Look(ctx, job.Share, job.Deadline); err != nil {
			a.flawed.Store(true)
			return err
		}
	}
	return nil
}

// beside returns the folder on the share that gets the manifest.
func (a *after) beside(job *checks.Job) string {
	if job.Prefix == "" {
		return job.Share
	}
	return filepath.Dir(a.copy)
}

// dateGrain is how far two dates may lie apart: FAT keeps even seconds (from memory).
const dateGrain = 2 * time.Second

// between is a time less another, as far as a Duration goes.
func between(a, b int64) time.Duration { return time.Unix(0, a).Sub(time.Unix(0, b)) }

// match compares one folder of the copy with the source. Called concurrently, once a folder.
func (a *after) match(pass *checks.Pass, d *walk.Dir, dates *int64) {
	id, known := a.tree.byPath[d.Path]
	if d.Err != nil {
		a.fail(pass, unreadableOnShare, d.Path, 0, "the folder cannot be listed: %v", plain(d.Err))
	}
	if known {
		f := &a.tree.folders[id]
		f.onShare, f.broken = true, d.Err != nil
	}
	for k := range d.Entries {
		e := &d.Entries[k]
		i := -1
		if known {
			i = a.tree.in(id, e.Name)
		}
		if i < 0 {
			if e.Kind != walk.Folder {
				a.extra(d, e)
			}
			continue
		}
		s := a.tree.files.at(i)
		s.flags |= onShare
		switch {
		case e.Failed:
			s.flags |= spoiled
			a.fail(pass, unreadableOnShare, d.Join(e.Name), s.size, "%v", plain(d.Why(e.Name)))
			continue
		case e.Kind != walk.File:
			s.flags |= spoiled
			a.fail(pass, kindDiffers, d.Join(e.Name), s.size, "%s stands there", [...]string{"a file", "a folder", "a link", "a special file"}[e.Kind])
			continue
		}
		apart := between(s.mtime, nanoseconds(e))
		if apart > dateGrain {
			s.flags |= newer
		}
		if apart.Abs() > dateGrain {
			atomic.AddInt64(dates, 1)
		}
		switch {
		case e.Size == s.size:
			s.flags |= sameSize
		case s.flags&newer != 0:
			a.fail(pass, sourceChanged, d.Join(e.Name), s.size, "changed %s after its copy: %s bytes now, %s on the share", checks.Span(apart), checks.Count(s.size), checks.Count(e.Size))
		default:
			a.fail(pass, sizeDiffers, d.Join(e.Name), s.size, "%s bytes on the source, %s on the share", checks.Count(s.size), checks.Count(e.Size))
		}
	}
}

// absent reports what is missing: a folder that is missing as a whole once, with what is in it.
func (a *after) absent(pass *checks.Pass) (files, bytes int64) {
	type sum struct {
		files, bytes int64
		unlisted     bool
		broken       bool
	}
	tops := map[string]*sum{}
	var unlistedBytes int64
	for id := range a.tree.folders {
		f := &a.tree.folders[id]
		var top *sum
		if !f.onShare {
			name, broken := a.top(f.path)
			if top = tops[name]; top == nil {
				top = &sum{broken: broken}
				tops[name] = top
			}
		}
		for i := int(f.first); i < int(f.last); i++ {
			e := a.tree.files.at(i)
			if e.flags&onShare != 0 {
				continue
			}
			p := a.tree.path(i)
			if why := a.clutter(pass, p); why != "" {
				e.flags |= leftOut
				a.leftOut++
				f := checks.Finding{Path: p, Rule: clutterLeftOut, Level: checks.Note, Size: e.size, Detail: why}
				if recovered(p) {
					f.Level, f.Remedy = checks.Warn, "Look at it before the disk is erased: a check of the disk puts there what it finds without a name, which may be footage."
				}
				pass.Add(f)
				continue
			}
			if list := pass.Job.CopyList; list != nil && !list.Has(p) {
				e.flags |= leftOut
				a.unlisted++
				unlistedBytes += e.size
				if top != nil {
					top.unlisted = true
				}
				continue
			}
			files++
			bytes += e.size
			if top != nil {
				top.files++
				top.bytes += e.size
			} else if !f.broken {
				a.fail(pass, missingOnShare, p, e.size, "not on the share")
			}
		}
	}
	for name, s := range tops {
		switch {
		case s.broken:
		case s.files == 0 && s.unlisted:
		case s.files > 0:
			a.fail(pass, missingOnShare, name, s.bytes, "the whole folder is not on the share: %s, %s", checks.Plural(s.files, "file"), checks.Bytes(s.bytes))
		case names.ClutterAbove(name) == "":
			pass.Add(checks.Finding{Path: name, Rule: missingFolder, Level: checks.Note, Detail: "not on the share; no file is in it"})
		}
	}
	if a.unlisted > 0 {
		pass.FlagJob(leftOffList, "%s, %s, on this disk only", checks.Plural(a.unlisted, "file"), checks.Bytes(unlistedBytes))
	}
	return files, bytes
}

// followList compares the copy list, if there is one, with the source.
func (a *after) followList(pass *checks.Pass) {
	list := pass.Job.CopyList
	if list == nil {
		return
	}
	there := int64(0)
	for i := range int(a.tree.count) {
		if list.Has(a.tree.path(i)) {
			there++
		}
	}
	pass.Fact("listed", list.Len(), "The copy list names %s, %s of them on the source", checks.Plural(list.Len(), "file"), checks.Count(there))
	switch lost := list.Len() - there; {
	case there == 0:
		a.fail(pass, nothingToCheck, "", 0, "no file of the copy list is on the source")
	case lost > 0:
		pass.FlagJob(listOutdated, "%s of the copy list not on the source", checks.Plural(lost, "path"))
	}
}

// travelling is how many files belong on the share.
func (a *after) travelling() int64 { return a.tree.count - a.leftOut - a.unlisted }

// top returns the topmost folder above or at a path that is not on the share, and whether the listing
// of its parent broke off.
func (a *after) top(p string) (name string, broken bool) {
	for {
		up := ""
		if at := strings.LastIndexByte(p, '/'); at >= 0 {
			up = p[:at]
		}
		id, ok := a.tree.byPath[up]
		if p == "" || !ok || a.tree.folders[id].onShare {
			return p, ok && a.tree.folders[id].broken
		}
		p = up
	}
}

// clutter says why a missing file is no loss, "" if it is one.
func (a *after) clutter(pass *checks.Pass, p string) string {
	if top := names.ClutterAbove(p); top != "" {
		return names.Quote(top) + " is kept by a desktop or an operating system"
	}
	if names.Own(path.Base(p)) {
		return "kept by Loadline: a journal of renames"
	}
	if !strings.HasPrefix(path.Base(p), "._") {
		return ""
	}
	f, err := os.Open(filepath.Join(pass.Job.Source, filepath.FromSlash(p)))
	if err != nil {
		return ""
	}
	defer f.Close()
	var head [4]byte
	if n, err := f.Read(head[:]); err != nil || n != 4 || head != [4]byte{0x00, 0x05, 0x16, 0x07} {
		return ""
	}
	return "AppleDouble: attributes of the file beside it (RFC 1740, from memory)"
}

// recovered reports whether a path lies in a folder where fsck(8) puts files that lost their names
// (mklost+found(8)).
func recovered(p string) bool {
	return slices.Contains(strings.Split(p, "/"), "lost+found")
}

// plain takes the path out of an error: it stands beside it already, and could forge a line.
func plain(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// isSilent reports whether an error says that a side does not answer.
func isSilent(err error) bool {
	return errors.Is(err, share.ErrSilent) || errors.Is(err, share.ErrBusy)
}
