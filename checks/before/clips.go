package before

import (
	"cmp"
	"context"
	"errors"
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
		When:   "the part without which nothing plays is not there: the recording was not finished",
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
		"damaged inside shows only when it is played. A file cut exactly between two packets, fragments or clusters of " +
		"a stream without an index looks whole. Files of other kinds are not judged.",
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
	seen    atomic.Int64 // files looked at or passed over
	queued  atomic.Int64 // files handed to the lanes

	mu     sync.Mutex
	tally  media.Tally
	unread int64 // files that could not be looked at
	silent error // why a lane gave up
}

type clipFolder struct {
	path  string
	files []clipFile
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
	f := clipFolder{path: d.Path}
	for i := range d.Entries {
		if e := &d.Entries[i]; e.Kind == walk.File && !e.Failed && e.Size >= media.Smallest && !names.Clutter(e.Name) {
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
			// Inodes lie on most disks in the order in which files were written.
			slices.SortFunc(f.files, func(a, b clipFile) int { return cmp.Compare(a.inode, b.inode) })
			for i := range f.files {
				if ctx.Err() != nil {
					return
				}
				c.look(ctx, f.path, &f.files[i])
			}
		}
	}
}

func (c *clips) look(ctx context.Context, folder string, f *clipFile) {
	defer c.seen.Add(1)
	c.mu.Lock()
	gone := c.silent != nil
	c.mu.Unlock()
	if gone {
		return // a disk that does not answer is not asked again for each file
	}
	path := f.name
	if folder != "" {
		path = folder + "/" + f.name
	}
	v, err := share.Guard(ctx, c.pass.Job.Deadline, func() (media.Verdict, error) {
		return judgeClip(filepath.Join(c.pass.Job.Source, filepath.FromSlash(path)), f.size)
	})
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case errors.Is(err, share.ErrSilent), errors.Is(err, share.ErrBusy):
		c.silent = err
		return
	case err != nil:
		c.unread++ // other checks say why
		return
	}
	c.tally.Add(v)
	if v.Problem == "" {
		return
	}
	rule := clipCutShort
	if v.Problem == media.NoIndex {
		rule = clipNoIndex
	}
	c.pass.Add(checks.Finding{Path: strings.Clone(path), Rule: rule, Level: rule.Level, Size: f.size, Detail: v.Kind.String() + ": " + v.Detail})
}

// judgeClip opens a file without touching its date of reading where that can be had, and without waiting
// where something else has taken its place.
func judgeClip(name string, size int64) (media.Verdict, error) {
	f, err := disk.OpenQuiet(name)
	if err != nil {
		return media.Verdict{}, err
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return media.Verdict{}, err
	case !info.Mode().IsRegular():
		return media.Verdict{}, os.ErrInvalid
	case info.Size() < size:
		return media.Verdict{}, media.ErrShrank
	}
	return media.Judge(f, info.Size(), name)
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
	n := c.tally.Clips()
	pass.Fact("clips", n, "Looked at: %s", c.tally.String())
	pass.Fact("not_judged", c.tally.NotJudged(), "Not judged, since they are no clips: %s", checks.Plural(c.tally.NotJudged(), "file"))
	if c.tally.Partly > 0 {
		pass.Fact("clips_partly", c.tally.Partly, "Too long to follow to the end: %s", checks.Plural(c.tally.Partly, "clip"))
	}
	if c.silent != nil {
		return errors.New("the disk has stopped responding; look at its cable and power, then check again")
	}
	bad := pass.Total(clipCutShort) + pass.Total(clipNoIndex)
	switch {
	case n == 0:
		pass.Summarize("There are no clips; %s of other kinds.", checks.Plural(c.tally.NotJudged(), "file"))
	case bad == 0:
		pass.Summarize("%s whole by their own structure; %s of other kinds not judged.", checks.Plural(n, "clip"), checks.Plural(c.tally.NotJudged(), "file"))
	default:
		pass.Summarize("%s of %s not whole.", checks.Count(bad), checks.Plural(n, "clip"))
	}
	if c.unread > 0 {
		pass.Fact("clips_unread", c.unread, "Could not be looked into: %s", checks.Plural(c.unread, "file"))
		return errors.New(checks.Plural(c.unread, "file") + " could not be looked into; see the other checks")
	}
	return nil
}
