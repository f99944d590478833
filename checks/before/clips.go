package before

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/media"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

const clipFix = "Look on the original card or recorder before anything is erased: it may still hold the whole clip. A repair tool of the camera's maker may save this one."

var (
	clipCutShort = &checks.Rule{
		ID: string(media.CutShort), Level: checks.Warn,
		When: "the clip's own structure runs past the end of the file: what follows was never written, or was cut off",
		Fix:  clipFix,
		Source: "ISO/IEC 14496-12 §4.2 boxes; RIFF chunks (Microsoft and IBM, 1991), EBU Tech 3306 RF64, ITU-R BS.2088 BW64; " +
			"SMPTE ST 377-1 KLV; RFC 8794 and RFC 9559 (EBML, Matroska); ISO/IEC 13818-1 packets; ITU-T T.81 (JPEG); ISO/IEC 15948 (PNG); AIFF 1.3, 1989 (from memory)",
	}
	clipNoIndex = &checks.Rule{
		ID: string(media.NoIndex), Level: checks.Warn,
		When:   "a part without which nothing plays is missing: the recording was not finished",
		Fix:    clipFix,
		Source: "as for clip-cut-short: moov and moof, MXF footer partition, Matroska Cluster, RIFF fmt and data",
	}
)

var errNoClips = &checks.NotAsked{Why: "Clips were not looked at, as you asked (-no-clips)."}

var clipsWhole = &checks.Check{
	ID: "clips-whole", Title: "Every clip is whole", Group: checks.GroupFiles,
	Doc: "Recognizes clips, sound and pictures by their content and follows the lengths in their headers to the end " +
		"of the file, and looks for the index that players need. A camera that lost power or a card pulled too early " +
		"leaves a file of a plausible size that does not play. It reads headers, never pictures or sound: what is " +
		"damaged inside shows only when it is played. Some cuts leave a file that could have been intended and " +
		"looks whole: an MPEG transport stream cut between two packets, or to under six; an MP4 cut between two fragments; " +
		"a Matroska or WebM recording without an index (live, or through a pipe) cut between two clusters; a sound file " +
		"written through a pipe, which gives no length; an MP4 or QuickTime file cut right behind an index that " +
		"comes first, as a movie ends whose media are in other files; and whatever is cut to under 12 bytes. Files of " +
		"other kinds are not judged, nor is system clutter.",
	Fix:    clipFix,
	Rules:  []*checks.Rule{clipCutShort, clipNoIndex},
	Begin:  func(pass *checks.Pass) any { return newClips(pass) },
	Visit:  func(pass *checks.Pass, d *walk.Dir) { pass.State.(*clips).visit(d) },
	Finish: func(ctx context.Context, pass *checks.Pass) error { return pass.State.(*clips).finish(ctx, pass) },
}

// clips looks at files on lanes of its own beside the walk, a folder at a time, so that a disk that seeks
// has one reader more and not one for each worker.
type clips struct {
	pass    *checks.Pass
	folders chan clipFolder
	lanes   sync.WaitGroup
	seen    atomic.Int64 // files that the lanes are through with
	queued  atomic.Int64 // files handed to the lanes
	tiny    atomic.Int64 // files too small to be clips: nobody opens them

	mu      sync.Mutex
	tally   media.Tally
	bad     example // clips that are not whole
	partly  example // clips that could not be followed to their end
	changed example // files that had another size than the walk saw
	closed  example // files that could not be opened or read
	silent  error   // why the lanes gave up
}

// named is how many clips a card names: enough to know which card or day they are of.
const named = 3

// An example counts files, and names the first of them in the order of paths.
type example struct {
	n     int64
	first []exampleFile
}

type exampleFile struct {
	path string
	why  error // nil where the heading says it all
}

func (e *example) add(path string, why error) {
	e.n++
	at, _ := slices.BinarySearchFunc(e.first, path, func(f exampleFile, p string) int { return strings.Compare(f.path, p) })
	if at < named {
		e.first = slices.Insert(e.first, at, exampleFile{strings.Clone(path), why})
		e.first = e.first[:min(len(e.first), named)]
	}
}

// String returns what to look for: "A001.mov", or "A001.mov, A002.mov, A003.mov and 9 more".
func (e *example) String() string {
	var list []string
	for _, f := range e.first {
		s := names.Quote(f.path)
		if f.why != nil {
			s += " (" + checks.Reason(f.why) + ")"
		}
		list = append(list, s)
	}
	s := strings.Join(list, ", ")
	if more := e.n - int64(len(list)); more > 0 {
		s += " and " + checks.Count(more) + " more"
	}
	return s
}

type clipFolder struct {
	source int
	path   string
	files  []clipFile
}

type clipFile struct {
	name  string
	size  int64
	inode uint64
}

// foldersAhead bounds how far the walk may run ahead of the lanes.
const foldersAhead = 64

func newClips(pass *checks.Pass) *clips {
	c := &clips{pass: pass, folders: make(chan clipFolder, foldersAhead)}
	if pass.Job.NoClips {
		return c
	}
	lanes, _ := digest.LanesOn(pass.Job.Source)
	for range lanes {
		c.lanes.Add(1)
		go func() {
			defer c.lanes.Done()
			c.lane(pass.Context())
		}()
	}
	return c
}

// visit hands a folder's files to the lanes. What is clutter is no footage.
func (c *clips) visit(d *walk.Dir) {
	if c.pass.Job.NoClips || names.ClutterAbove(d.Path) != "" {
		return
	}
	f := clipFolder{source: d.Source, path: d.Path}
	for i := range d.Entries {
		e := &d.Entries[i]
		switch {
		case e.Kind != walk.File || e.Failed || names.Clutter(e.Name):
		case e.Size < media.Smallest:
			c.tiny.Add(1)
		default:
			if f.files == nil {
				f.files = make([]clipFile, 0, len(d.Entries)-i)
			}
			f.files = append(f.files, clipFile{e.Name, e.Size, e.Inode})
		}
	}
	if len(f.files) == 0 {
		return
	}
	c.queued.Add(int64(len(f.files)))
	select {
	case c.folders <- f:
	case <-c.pass.Context().Done():
	}
}

func (c *clips) lane(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case f, more := <-c.folders:
			if !more {
				return
			}
			// Inodes are on most disks in the order in which files were written.
			slices.SortFunc(f.files, func(a, b clipFile) int { return cmp.Compare(a.inode, b.inode) })
			c.lookAll(ctx, &f)
		}
	}
}

// lookAll looks at the files of a folder, and gives up on all that is left where the disk does not respond. It
// is one guarded call, for a goroutine a file would cost more than the file.
func (c *clips) lookAll(ctx context.Context, f *clipFolder) {
	var at atomic.Int64
	_, err := share.GuardSteps(ctx, c.pass.Job.Deadline, func(step func()) (struct{}, error) {
		for i := range f.files {
			if ctx.Err() != nil || c.gone() {
				break
			}
			at.Store(int64(i))
			c.judge(ctx, f, &f.files[i], step)
			step()
			c.seen.Add(1)
		}
		return struct{}{}, nil
	})
	if err == nil || ctx.Err() != nil {
		return
	}
	path := names.Quote(names.Join(f.path, f.files[at.Load()].name))
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.silent != nil:
	case errors.Is(err, share.ErrSilent):
		c.silent = fmt.Errorf("the disk has stopped responding at %s; look at its cable and power, then check again", path)
	default:
		c.silent = fmt.Errorf("%s: %w", path, err)
	}
}

// gone says whether the disk has stopped responding.
func (c *clips) gone() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.silent != nil
}

// judge looks at one file and notes what came of it.
func (c *clips) judge(ctx context.Context, folder *clipFolder, f *clipFile, step func()) {
	path := names.Join(folder.path, f.name)
	v, err := judgeClip(ctx, c.pass.Job.Disk(folder.source).Source, path, f.size, step)
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case ctx.Err() != nil:
		return
	case errors.Is(err, media.ErrShrank):
		c.changed.add(path, nil)
		return
	case err != nil:
		c.closed.add(path, err)
		return
	}
	c.tally.Add(v)
	if v.Partly {
		c.partly.add(path, nil)
	}
	if v.Problem == "" {
		return
	}
	c.bad.add(path, nil)
	rule := clipCutShort
	if v.Problem == media.NoIndex {
		rule = clipNoIndex
	}
	c.pass.Add(checks.Finding{Path: strings.Clone(path), Source: folder.source, Rule: rule, Level: rule.Level, Size: f.size, Detail: v.Kind.String() + ": " + v.Detail})
}

// judgeClip opens a file and judges it. It changes no date of reading where that can be had, and does not wait
// where something else has taken the file's place. A file of another size than the walk saw is being written
// or cut: the check of what still changes tells of it, and its structure says nothing yet.
func judgeClip(ctx context.Context, source, path string, size int64, step func()) (media.Verdict, error) {
	f, err := disk.OpenQuietBelow(source, filepath.FromSlash(path))
	if err != nil {
		return media.Verdict{}, err
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return media.Verdict{}, err
	case !info.Mode().IsRegular():
		return media.Verdict{}, errors.New("something else has taken its place")
	case info.Size() != size:
		return media.Verdict{}, media.ErrShrank
	}
	step()
	return media.Judge(&clipReader{ctx, f, step}, size, path)
}

// A clipReader reads until the run is stopped, and tells of every read that came back.
type clipReader struct {
	ctx  context.Context
	file *os.File
	step func()
}

func (r *clipReader) ReadAt(p []byte, off int64) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := r.file.ReadAt(p, off)
	r.step()
	return n, err
}

func (c *clips) finish(ctx context.Context, pass *checks.Pass) error {
	if pass.Job.NoClips {
		return errNoClips
	}
	pass.Phase(checks.Phase{Text: "Looking at clips", Entries: &c.seen, Of: c.queued.Load()})
	close(c.folders)
	done := make(chan struct{})
	go func() { c.lanes.Wait(); close(done) }()
	select {
	case <-done:
	case <-ctx.Done():
		return ctx.Err()
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.conclude(pass)
}

// conclude says what was seen. What was not seen to its end keeps the check from being good; clips that
// are not whole are told first.
func (c *clips) conclude(pass *checks.Pass) error {
	n, others := c.tally.Clips(), c.tally.NotJudged()+c.tiny.Load()
	pass.Fact("clips", n, "Looked at: %s", c.tally.String())
	pass.Fact("not_judged", others, "Not judged, since they are not clips: %s", checks.Plural(others, "file"))
	var open []string
	for _, o := range []struct {
		key, text string
		files     *example
	}{
		{"clips_partly", "Too long to follow to the end", &c.partly},
		{"clips_changing", "Changed while being examined", &c.changed},
		{"clips_unread", "Could not be examined", &c.closed},
	} {
		if o.files.n > 0 {
			pass.Fact(o.key, o.files.n, "%s: %s, %s", o.text, checks.Plural(o.files.n, "file"), o.files)
			open = append(open, strings.ToLower(o.text[:1])+o.text[1:]+": "+o.files.String())
		}
	}
	if c.silent != nil {
		unseen := c.queued.Load() - n - c.tally.NotJudged() - c.changed.n - c.closed.n
		pass.Fact("clips_unseen", unseen, "Not looked at, because the disk stopped responding: %s", checks.Plural(unseen, "file"))
		return c.silent
	}
	switch {
	case c.bad.n > 0:
		pass.Summarize("%s of %s not whole: %s.", checks.Count(c.bad.n), checks.Plural(n, "clip"), &c.bad)
		return nil
	case len(open) > 0:
		return errors.New(strings.Join(open, "; "))
	case n == 0:
		pass.Summarize("There are no clips; %s of other kinds not judged.", checks.Plural(others, "file"))
	default:
		pass.Summarize("%s whole by their own structure; %s of other kinds not judged.", checks.Plural(n, "clip"), checks.Plural(others, "file"))
	}
	return nil
}
