package after

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/names"
	"loadline/checks/share"
)

// refuse says by an error why a file or folder that is to be written cannot be: before hours of reading,
// and before anything is written where it must not be.
func (a *after) refuse(ctx context.Context, job *checks.Job) error {
	for _, out := range []struct{ what, path string }{{"manifest", a.o.Manifest}, {"bag", a.o.Bag}} {
		if out.path == "" {
			continue
		}
		err := share.Call(ctx, job.Deadline, func() error { return writable(out.what, out.path, job) })
		if err == nil && out.what == "manifest" {
			// The share's own check reports that it is silent.
			in, _ := share.Guard(ctx, job.Deadline, func() (bool, error) { return share.Inside(job.Share, filepath.Dir(out.path)) })
			if in {
				err = fmt.Errorf("%s is on the share and would be shipped with it; choose a folder on this computer (the share gets a manifest of its own)", names.Quote(out.path))
			}
		}
		if share.Silent(err) {
			err = fmt.Errorf("the folder for the %s, %s, does not respond; choose a folder on this computer", out.what, names.Quote(out.path))
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return fmt.Errorf("%w: %w", checks.ErrBadJob, err)
		}
	}
	return nil
}

func writable(what, path string, job *checks.Job) error {
	shown := names.Quote(path)
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s already exists; choose another name", shown)
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	dir := filepath.Dir(abs)
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return fmt.Errorf("there is no folder %s for the %s; create it, or choose another", names.Quote(dir), what)
	}
	if in, err := share.Inside(job.Source, dir); err == nil && in {
		return fmt.Errorf("%s is inside the source, where nothing may be changed; choose another folder for the %s", shown, what)
	}
	return nil
}

// settleState sees that the state folder is not in the source: what is remembered there would change
// the source, and be missing in its copy.
func (a *after) settleState(ctx context.Context, job *checks.Job) {
	if a.o.State == "" {
		return
	}
	in, err := share.Guard(ctx, job.Deadline, func() (bool, error) { return share.InsideOnce(job.Source, a.o.State) })
	switch {
	case share.Silent(err):
		a.noState = fmt.Errorf("%w; name a file on this computer with -manifest", digest.ErrStateSilent)
	case err == nil && in:
		a.noState = errStateInSource
	}
}

// offShare reports what in the path of the copy, or below it, is not on the share: a prefix that leads
// through a link, and something of this computer that is mounted inside the copy.
func (a *after) offShare(ctx context.Context, pass *checks.Pass) error {
	job := pass.Job
	links, err := share.Guard(ctx, job.Deadline, func() ([]string, error) {
		var links []string
		if job.Prefix == "" {
			return nil, nil // links that lead to the share itself do not travel
		}
		at := ""
		for part := range strings.SplitSeq(job.Prefix, "/") {
			at = filepath.Join(at, part)
			info, err := os.Lstat(filepath.Join(job.Share, at))
			if err != nil {
				break // the walk says what is not there
			}
			if info.Mode()&fs.ModeSymlink != 0 {
				links = append(links, at)
			}
		}
		return links, nil
	})
	if err != nil {
		return fmt.Errorf("the share has stopped responding: %w; look at its cable, power and network, then check again", err)
	}
	for _, l := range links {
		pass.Add(checks.Finding{
			Rule: noCopy, Level: checks.Fail, Detail: names.Quote(l) + " is a link: the keys will begin with the name of the folder that it leads to",
			Remedy: "Check again with that folder as prefix.",
		})
	}
	if job.StandIn != nil || !a.facts.Network {
		return nil
	}
	rows, err := share.Mounts(ctx)
	if err != nil {
		return fmt.Errorf("the mount table cannot be read: %w", err)
	}
	copied := filepath.Join(a.facts.Path, filepath.FromSlash(job.Prefix))
	for _, point := range share.LocalBelow(rows, copied) {
		a.fail(pass, noCopy, "", 0, "a file system of this computer is mounted on %s: what is there is not on the share", names.Quote(point))
	}
	return nil
}

// mostHints is how many files that are not on the source are asked where the copy is.
const mostHints = 1000

// hint adds where the copy may be instead, if nothing of it is where it should be.
func (a *after) hint(ctx context.Context, pass *checks.Pass, missing int64) {
	if a.tree.count == 0 || missing == 0 {
		return
	}
	for e := range a.tree.files.All() {
		if e.flags&onShare != 0 {
			return
		}
	}
	job := pass.Job
	prefix, found := a.deeper()
	if !found && job.Prefix != "" {
		first := a.tree.path(0)
		is, err := share.Guard(ctx, job.Deadline, func() (bool, error) {
			_, err := os.Lstat(filepath.Join(job.Share, filepath.FromSlash(first)))
			return err == nil, nil
		})
		found = err == nil && is
	}
	if !found {
		return
	}
	f := checks.Finding{
		Rule: noCopy, Level: checks.Fail, Detail: "nothing from the source is in the folder that was named, but files with its names are in " + names.Quote(prefix),
		Remedy: "If that is the copy, check again with the folder " + names.Quote(prefix) + " as prefix.",
	}
	if prefix == "" {
		f.Detail = "nothing from the source is in the folder that was named, but files with its names are at the top of the share"
		f.Remedy = "If that is the copy, check again without a prefix."
	}
	pass.Add(f)
}

// deeper returns the folder on the share, below that of the copy, in which most of the files that are not
// on the source would be files of it.
func (a *after) deeper() (prefix string, found bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	votes := map[string]int{}
	for i := range min(len(a.extras.named), mostHints) {
		head, rest := "", a.extras.named[i].Path
		for {
			part, below, more := strings.Cut(rest, "/")
			if !more {
				break
			}
			head, rest = head+part+"/", below
			if a.tree.find(rest) >= 0 {
				votes[head]++
			}
		}
	}
	best := ""
	for head, n := range votes {
		if best == "" || n > votes[best] || n == votes[best] && (len(head) < len(best) || len(head) == len(best) && head < best) {
			best = head
		}
	}
	if best == "" {
		return "", false
	}
	return strings.Trim(a.prefix+"/"+strings.TrimSuffix(best, "/"), "/"), true
}

// errStateInSource says why nothing is remembered.
var errStateInSource = errors.New("the folder where this computer keeps its records is inside the source, where nothing may be changed; name a file outside of it with -manifest")
