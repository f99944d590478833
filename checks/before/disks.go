package before

import (
	"context"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

var disksCollide = &checks.Rule{
	ID: "disks-collide", Level: checks.Fail,
	When:   "two disks go to one folder on the share, and both hold this name at its top, in whatever case or normal form",
	Fix:    "Give each disk a folder of its own on the share (as a command: -prefix for the first, -with PREFIX=DIR for the others).",
	Source: "common practice, no source: what is copied second overwrites the first",
}

// flagDisks finds what would come to be in one place on the share from two disks.
func flagDisks(ctx context.Context, pass *checks.Pass) error {
	disks := pass.Job.Disks()
	for i := range disks {
		for k := range i {
			if err := flagTwo(ctx, pass, k, i); err != nil {
				return err
			}
		}
	}
	return nil
}

// flagTwo compares two disks where the folder of one on the share is that of the other, or is in it.
func flagTwo(ctx context.Context, pass *checks.Pass, a, b int) error {
	outer, inner := pass.Job.Disk(a), pass.Job.Disk(b)
	rest, within := belowPrefix(outer.Prefix, inner.Prefix)
	if !within {
		if rest, within = belowPrefix(inner.Prefix, outer.Prefix); !within {
			return nil
		}
		a, b = b, a
		outer, inner = inner, outer
	}
	if len(rest) == 0 {
		theirs, err := topNames(ctx, pass.Job, inner.Source)
		if err != nil {
			return err
		}
		ours, err := topNames(ctx, pass.Job, outer.Source)
		if err != nil {
			return err
		}
		folded := make(map[string]string, len(theirs))
		for _, name := range theirs {
			folded[names.Fold(name)] = name
		}
		for _, name := range ours {
			if other, both := folded[names.Fold(name)]; both {
				pass.Add(checks.Finding{
					Source: a, Path: name, Rule: disksCollide, Level: disksCollide.Level,
					Detail: fmt.Sprintf("disk %d holds %s, and both go to %s", b+1, names.Quote(other), prefixName(outer.Prefix)),
				})
			}
		}
		return nil
	}
	// The copy of the inner disk takes the place of what is on the outer one on the same way.
	at := ""
	for _, part := range rest {
		list, err := topNames(ctx, pass.Job, filepath.Join(outer.Source, filepath.FromSlash(at)))
		if err != nil {
			return nil // not a folder: its last part shows what is in the way
		}
		i := slices.IndexFunc(list, func(n string) bool { return names.Fold(n) == part })
		if i < 0 {
			return nil
		}
		at = path.Join(at, list[i])
	}
	pass.Add(checks.Finding{
		Source: a, Path: at, Rule: disksCollide, Level: disksCollide.Level,
		Detail: fmt.Sprintf("it goes to the folder that disk %d goes to, %s", b+1, prefixName(inner.Prefix)),
	})
	return nil
}

// belowPrefix tells whether a prefix is another or is in it, as a share that folds case and normal form would
// see it, and returns the folded parts of the way.
func belowPrefix(outer, inner string) (rest []string, within bool) {
	parts := func(prefix string) (list []string) {
		if prefix == "" {
			return nil
		}
		for part := range strings.SplitSeq(prefix, "/") {
			list = append(list, names.Fold(part))
		}
		return list
	}
	o, i := parts(outer), parts(inner)
	if len(o) > len(i) || !slices.Equal(o, i[:len(o)]) {
		return nil, false
	}
	return i[len(o):], true
}

func prefixName(prefix string) string {
	if prefix == "" {
		return "the share itself"
	}
	return names.Quote(prefix)
}

// topNames lists a folder of a disk; clutter, which is no footage, aside.
func topNames(ctx context.Context, job *checks.Job, dir string) ([]string, error) {
	return share.Guard(ctx, job.Deadline, func() ([]string, error) {
		f, err := os.Open(dir)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		list, err := f.Readdirnames(-1)
		if err != nil {
			return nil, err
		}
		list = slices.DeleteFunc(list, names.Clutter)
		slices.Sort(list)
		return list, nil
	})
}
