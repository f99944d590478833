package before

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	linkAbsolute = &checks.Rule{
		ID: "link-absolute", Level: checks.Fail,
		When:   "the link's target is an absolute path, which means something else on any other machine",
		Fix:    "Replace the link with a copy of what it points to.",
		Source: "symlink(7), path_resolution(7)",
	}
	linkOutside = &checks.Rule{
		ID: "link-outside", Level: checks.Fail,
		When:   "the link leaves the source: what it points to is not copied",
		Fix:    "Replace the link with a copy of what it points to.",
		Source: "symlink(7), path_resolution(7)",
	}
	linkLoop = &checks.Rule{
		ID: "link-loop", Level: checks.Fail,
		When:   "the link leads through more than 40 links, or in a circle",
		Fix:    "Remove the link, or point it at a file.",
		Source: "path_resolution(7): at most 40 links",
	}
	linkDangling = &checks.Rule{
		ID: "link-dangling", Level: checks.Fail,
		When:   "the link's target does not exist",
		Fix:    "Find what it pointed to, or leave it out.",
		Source: "symlink(7)",
	}
	linkInside = &checks.Rule{
		ID: "link-inside", Level: checks.Warn,
		When:   "the link points into the source: its content arrives, the link does not become an object",
		Fix:    "Replace the link with a copy if something relies on it.",
		Source: "symlink(7)",
	}
)

// linksMax is how many links one path may lead through (path_resolution(7)).
const linksMax = 40

var symlinks = &checks.Check{
	ID: "symlinks", Title: "No content hides behind links", Group: checks.GroupFiles,
	Doc: "Follows every symbolic link on paper, step by step as the system would, and shows where it ends. " +
		"An object store holds no links, and a copy command either drops them or follows them.",
	Fix:   "Replace links with copies of what they point to, or leave them out knowingly.",
	Rules: []*checks.Rule{linkAbsolute, linkOutside, linkLoop, linkDangling, linkInside},
	Begin: func(*checks.Pass) any { return new(atomic.Int64) },
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		for i := range d.Entries {
			if e := &d.Entries[i]; e.Kind == walk.Link && !e.Failed {
				pass.State.(*atomic.Int64).Add(1)
				judgeLink(pass, d, e)
			}
		}
	},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		n := pass.State.(*atomic.Int64).Load()
		pass.Fact("links", n, "%s looked at", checks.Plural(n, "link"))
		if n == 0 {
			pass.Summarize("There are no links.")
		} else {
			pass.Summarize("%s looked at; %s into the source.", checks.Plural(n, "link"), checks.Count(pass.Total(linkInside)))
		}
		return nil
	},
}

func judgeLink(pass *checks.Pass, d *walk.Dir, e *walk.Entry) {
	target, err := d.Readlink(e.Name)
	if err != nil {
		pass.Flag(d, e, linkDangling, "its target cannot be read: %s", checks.Reason(err))
		return
	}
	rule, detail := LinkRule(pass.Job.Disk(d.Source).Source, d.Path, target, pass.Job.Deadline)
	pass.Flag(d, e, rule, "%s", detail)
}

// LinkRule returns the one rule that a link falls under, the first that holds, and what there is to
// say of it. Source is the real path of the source, dir the folder of the link relative to it. What
// is outside of the source is waited for until the deadline; 0 means the usual one.
func LinkRule(source, dir, target string, deadline time.Duration) (rule *checks.Rule, detail string) {
	detail = "points to " + names.Quote(target)
	if path.IsAbs(target) || filepath.IsAbs(target) {
		return linkAbsolute, detail
	}
	end, err := follower{source, deadline}.follow(filepath.Join(source, filepath.FromSlash(dir)), target)
	outside := !share.Within(source, end)
	if err != nil && !outside {
		// What does not exist is judged by its words first.
		outside = escapes(dir, target)
	}
	switch {
	case outside:
		return linkOutside, detail
	case errors.Is(err, errTooManyLinks):
		return linkLoop, fmt.Sprintf("%s; at most %d links are followed", detail, linksMax)
	case err != nil:
		return linkDangling, detail + ": " + checks.Reason(err)
	}
	return linkInside, detail
}

var errTooManyLinks = errors.New("too many links")

// A follower resolves links on paper.
type follower struct {
	root     string
	deadline time.Duration
}

// follow resolves the target of a link that is in the real folder dir, as path_resolution(7)
// says. It returns the real path, or where it could not go on and why. The link itself is the first
// of the links that count.
func (f follower) follow(dir, target string) (end string, err error) {
	links := 1
	at := dir
	parts := strings.Split(filepath.ToSlash(target), "/")
	for i := 0; len(parts) > 0; i++ {
		part := parts[0]
		parts = parts[1:]
		switch part {
		case "", ".":
			continue
		case "..":
			at = filepath.Dir(at)
			continue
		}
		next := filepath.Join(at, part)
		kind, inner, err := f.whatIs(next)
		if err != nil {
			return next, err
		}
		switch {
		case kind == walk.Link:
			if links++; links > linksMax {
				return next, errTooManyLinks
			}
			if filepath.IsAbs(inner) {
				at = filepath.VolumeName(inner) + string(filepath.Separator)
				inner = strings.TrimPrefix(inner, filepath.VolumeName(inner))
			}
			parts = append(strings.Split(filepath.ToSlash(inner), "/"), parts...)
		case kind != walk.Folder && len(parts) > 0:
			// A file in the middle of a path, or a slash behind a file.
			return next, fmt.Errorf("%s is not a folder", names.Quote(part))
		default:
			at = next
		}
	}
	return at, nil
}

// whatIs tells what is at a path whose folder is real, and the target if that is a link. Outside the
// source it gives up after the deadline: a link may lead to a share whose server is gone. Such a share
// is asked once only.
func (f follower) whatIs(p string) (kind walk.Kind, target string, err error) {
	type seen struct {
		kind   walk.Kind
		target string
	}
	look := func() (s seen, err error) {
		if s.kind, err = kindAt(p); err == nil && s.kind == walk.Link {
			s.target, err = readlinkAt(p)
		}
		return s, err
	}
	var s seen
	if share.Within(f.root, p) {
		s, err = look()
	} else {
		s, err = ask(&elsewhere, p, f.deadline, look)
	}
	return s.kind, s.target, err
}

// onePiece is how many bytes of a real path are given to the system at a time: fewer than any takes.
const onePiece = 1000

// twoSteps cuts a path that is too long for one piece behind a folder.
func twoSteps(p string) (top, rel string) {
	cut := strings.LastIndexByte(p[:onePiece], filepath.Separator)
	return p[:cut], filepath.ToSlash(p[cut+1:])
}

// kindAt looks at a path whose folder is real, however long it is, without following a link.
func kindAt(p string) (walk.Kind, error) {
	if len(p) >= onePiece {
		e, err := walk.Look(twoSteps(p))
		return e.Kind, err
	}
	info, err := os.Lstat(p)
	if err != nil {
		return 0, err
	}
	return walk.KindOf(info.Mode()), nil
}

// readlinkAt returns the target of a link whose folder is real, however long its path is.
func readlinkAt(p string) (string, error) {
	if len(p) >= onePiece {
		return walk.Readlink(twoSteps(p))
	}
	return os.Readlink(p)
}

// escapes reports whether a target leaves the source by its words alone.
func escapes(dir, target string) bool {
	p := path.Join("/", dir)
	depth := 0
	if p != "/" {
		depth = strings.Count(p, "/")
	}
	for _, part := range strings.Split(filepath.ToSlash(target), "/") {
		switch part {
		case "", ".":
		case "..":
			if depth--; depth < 0 {
				return true
			}
		default:
			depth++
		}
	}
	return false
}

// quietFor is how long a place that did not answer is left alone (common practice, no source). A server may
// come back.
const quietFor = time.Minute

// A quiet remembers what did not answer. Every call that hangs takes one of the few that may (see
// share.Guard), for as long as the server is gone: a thousand links to one dead mount must take one, or
// nothing would be left for the share.
type quiet struct {
	mu    sync.Mutex
	until map[string]time.Time
}

// elsewhere is for what links outside of sources lead to.
var elsewhere quiet

// ask makes a call about a real path and gives up after the deadline with share.ErrSilent; at once where its
// mount was silent a while ago. One call is made at a time.
func ask[T any](q *quiet, p string, deadline time.Duration, f func() (T, error)) (T, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	now := time.Now()
	for place, until := range q.until {
		switch {
		case now.After(until):
			delete(q.until, place)
		case share.Within(place, p):
			var none T
			return none, share.ErrSilent
		}
	}
	v, err := share.Guard(context.Background(), deadline, f)
	if errors.Is(err, share.ErrSilent) {
		if q.until == nil {
			q.until = map[string]time.Time{}
		}
		q.until[mountOf(p)] = time.Now().Add(quietFor)
	}
	return v, err
}

// mountOf returns where the mount that covers a path is, or the path itself where that is not known or all
// there is.
func mountOf(p string) string {
	rows, err := share.Mounts(context.Background())
	if err != nil {
		return p
	}
	if m, ok := share.Covering(rows, p); ok && m.Point != string(filepath.Separator) {
		return m.Point
	}
	return p
}
