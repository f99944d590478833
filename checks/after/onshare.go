package after

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/manifest"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// onShare is the Finish of its check: it walks the copy and compares.
func (a *after) onShare(ctx context.Context, pass *checks.Pass) error {
	job := pass.Job
	a.copy = filepath.Join(job.Share, filepath.FromSlash(job.Prefix))
	a.prefix = job.Prefix
	if err := a.apart(ctx, job); err != nil {
		return err
	}
	if err := a.offShare(ctx, pass); err != nil {
		return err
	}
	if !job.NoTrial {
		// A share that is silent, or lists for long, is told by the walk.
		_ = share.Call(ctx, job.Deadline, func() error { manifest.Sweep(a.beside(job)); return nil })
	}
	if a.tree.count == 0 {
		a.fail(pass, nothingToCheck, "", 0, "no file in %s", names.Quote(job.Source))
	}
	dates := int64(0)
	progress := &walk.Progress{}
	o := walk.Options{Visit: func(d *walk.Dir) { a.match(pass, d, &dates) }, Progress: progress}
	pass.Phase(checks.Phase{Text: "Reading the folders of the share", Walk: progress})
	err := checks.WalkShare(ctx, max(job.Deadline, a.o.Silence), a.copy, o)
	pass.Phase(checks.Phase{Text: "Comparing what is there"})
	switch {
	case err == nil:
		a.matchForms(ctx, pass, &dates)
	case ctx.Err() != nil:
		return ctx.Err()
	case share.Silent(err):
		return fmt.Errorf("the share has stopped responding: %w; look at its cable, power and network, then check again", err)
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

// apart sees that the two sides are two.
func (a *after) apart(ctx context.Context, job *checks.Job) error {
	nested, err := share.Guard(ctx, job.Deadline, func() (bool, error) { return share.Nested(job.Source, job.Share) })
	if err == nil && nested {
		return errors.New("one of source and share is inside the other, so there is no copy to check; choose two separate folders")
	}
	if a.facts = job.StandIn; a.facts == nil {
		if a.facts, err = share.Look(ctx, job.Share, job.Deadline); err != nil {
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
	if !known {
		if _, form := a.tree.ofForm(d.Path); form {
			// Whose folder it is, is known once all folders have been seen.
			held := *d
			held.Entries = slices.Clone(d.Entries)
			a.mu.Lock()
			a.held = append(a.held, &held)
			a.mu.Unlock()
			return
		}
	}
	a.matchWith(pass, d, id, known, false, checks.IsAppleDouble, dates)
}

// matchForms compares the folders of the copy that have the names of folders of the source in another normal
// form only.
func (a *after) matchForms(ctx context.Context, pass *checks.Pass, dates *int64) {
	// The walk is over, so a file is opened by its path.
	isDouble := func(d *walk.Dir, e *walk.Entry) bool {
		is, err := share.Guard(ctx, a.o.Silence, func() (bool, error) { return beginsAsDouble(a.copy, d.Join(e.Name)), nil })
		return err == nil && is
	}
	slices.SortFunc(a.held, func(x, y *walk.Dir) int { return strings.Compare(x.Path, y.Path) })
	for _, d := range a.held {
		id, form := a.tree.ofForm(d.Path)
		if form && a.tree.folders[id].onShare {
			form = false
		}
		a.matchWith(pass, d, id, form, form, isDouble, dates)
	}
	a.held = nil
}

// matchWith compares a folder of the copy with the folder id of the source, if there is one; form says that their
// paths differ in normal form, isDouble looks whether a file begins as AppleDouble.
func (a *after) matchWith(pass *checks.Pass, d *walk.Dir, id int32, known, form bool, isDouble func(*walk.Dir, *walk.Entry) bool, dates *int64) {
	if d.Err != nil {
		a.unreadable(pass, unreadableOnShare, d.Path, d.Path, fmt.Sprintf("the folder cannot be listed: %s", checks.Reason(d.Err)), d.Err)
	}
	if known {
		f := &a.tree.folders[id]
		f.onShare, f.broken = true, d.Err != nil
	}
	var there func(name string) bool
	var extras []*walk.Entry
	numbers := make(map[string]int, len(d.Entries))
	for k := range d.Entries {
		e := &d.Entries[k]
		i, differs := -1, form
		if known {
			if i = a.tree.in(id, e.Name); i < 0 && !names.IsASCII(e.Name) {
				if differs = true; there == nil {
					there = entriesOf(d)
				}
				i = a.tree.inForm(id, e.Name, there)
			}
		}
		if i >= 0 && !a.pair(i, d.Join(e.Name), differs) {
			i = -1
		}
		if i < 0 {
			if e.Kind != walk.Folder {
				extras = append(extras, e)
			}
			continue
		}
		numbers[e.Name] = i
		a.judge(pass, d, e, i, dates)
	}
	for _, e := range extras {
		owner, companion := strings.CutPrefix(e.Name, names.Companion)
		_, file := numbers[owner]
		if companion && e.Kind == walk.File && (file || a.isFolder(d, owner)) && isDouble(d, e) {
			a.double(e)
		} else {
			a.extra(d, e)
		}
	}
	a.lists[shareSide].Add(d, func(e *walk.Entry) (int, bool) {
		i, ok := numbers[e.Name]
		return i, ok && readable(a.tree.files.At(i))
	})
}

// entriesOf returns what tells whether a folder holds a name.
func entriesOf(d *walk.Dir) func(name string) bool {
	held := make(map[string]bool, len(d.Entries))
	for i := range d.Entries {
		held[d.Entries[i].Name] = true
	}
	return func(name string) bool { return held[name] }
}

// pair notes that a file has something of its name on the share, or of another normal form of it. It returns
// false where another entry has been paired with it already.
func (a *after) pair(i int, path string, differs bool) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	s := a.tree.files.At(i)
	if s.flags&onShare != 0 {
		return false
	}
	s.flags |= onShare
	if differs {
		s.flags |= otherForm
		if a.forms == nil {
			a.forms = map[int]string{}
		}
		a.forms[i] = path
	}
	return true
}

// judge compares what is on the share with a file of the source.
func (a *after) judge(pass *checks.Pass, d *walk.Dir, e *walk.Entry, i int, dates *int64) {
	s := a.tree.files.At(i)
	path := a.tree.path(i)
	switch {
	case e.Failed:
		s.flags |= spoiled
		a.fail(pass, unreadableOnShare, path, s.size, "%s", checks.Reason(d.Why(e.Name)))
		return
	case e.Kind != walk.File:
		s.flags |= spoiled
		a.fail(pass, kindDiffers, path, s.size, "%s is there instead", [...]string{"a file", "a folder", "a link", "a special file"}[e.Kind])
		return
	}
	if s.flags&otherForm != 0 {
		pass.Add(checks.Finding{
			Path: path, Rule: anotherForm, Level: checks.Warn, Size: s.size,
			Detail: "on the share its name has another Unicode normal form: " + strconv.QuoteToASCII(d.Join(e.Name)),
		})
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
		a.fail(pass, sourceChanged, path, s.size, "changed %s after its copy: %s bytes now, %s on the share", checks.Span(apart), checks.Count(s.size), checks.Count(e.Size))
	default:
		a.fail(pass, sizeDiffers, path, s.size, "%s bytes on the source, %s on the share", checks.Count(s.size), checks.Count(e.Size))
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
			e := a.tree.files.At(i)
			if e.flags&onShare != 0 {
				continue
			}
			p := a.tree.path(i)
			if why := a.clutter(pass, p); why != "" {
				e.flags |= leftOut
				a.leftOut++
				f := checks.Finding{Path: p, Rule: clutterLeftOut, Level: checks.Note, Size: e.size, Detail: why}
				if recovered(p) {
					f.Level, f.Remedy = checks.Warn, "Look at it before you erase the disk: a repair of the file system puts files here that lost their names, and they may be footage."
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
		up, _ := names.Split(p)
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
	if !beginsAsDouble(pass.Job.Source, p) {
		return ""
	}
	return "AppleDouble: attributes of the file beside it (RFC 1740, from memory)"
}

// beginsAsDouble reports whether a file below a folder begins as AppleDouble.
func beginsAsDouble(root, p string) bool {
	f, err := disk.OpenQuietBelow(root, filepath.FromSlash(p))
	if err != nil {
		return false
	}
	defer f.Close()
	var head [4]byte
	n, err := f.Read(head[:])
	return err == nil && n == len(head) && head == checks.AppleDouble
}

// recovered reports whether a path is in a folder where fsck(8) puts files that lost their names
// (mklost+found(8)).
func recovered(p string) bool {
	return slices.Contains(strings.Split(p, "/"), "lost+found")
}
