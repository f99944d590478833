package after

import (
	"context"
	"fmt"
	"strings"

	"loadline/checks"
	"loadline/checks/manifest"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// extras are what the walk over the share met that is not on the source.
type extras struct {
	named   []checks.Finding
	files   int64 // all of them
	bytes   int64
	unnamed map[*checks.Rule]int64 // those over the limit
	own     int64                  // manifests of earlier runs

	doubles, doubleBytes int64 // ._ files in which a Mac keeps attributes of what the source has
}

// mostExtras is how many are named; more are counted only.
const mostExtras = 100_000

// extra takes one. Safe for concurrent use.
func (a *after) extra(d *walk.Dir, e *walk.Entry) {
	f := checks.Finding{Path: d.Join(e.Name), Rule: extraOnShare, Level: checks.Note, Detail: "not on the source"}
	if e.Kind == walk.File && !e.Failed {
		f.Size = e.Size
	}
	if how := temporary(e.Name); how != "" && e.Kind == walk.File {
		f.Rule, f.Level, f.Detail = temporaryLeft, checks.Warn, how
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	x := &a.extras
	if d.Path == "" && manifest.IsName(e.Name) {
		x.own++
		return
	}
	x.files++
	x.bytes += f.Size
	if len(x.named) < mostExtras {
		x.named = append(x.named, f)
		return
	}
	if x.unnamed == nil {
		x.unnamed = map[*checks.Rule]int64{}
	}
	x.unnamed[f.Rule]++
}

// isFolder reports whether what is in a folder of the share under a name is a folder of the source. The name "."
// is that folder itself: in the root of a file system a Mac keeps its attributes in "._." (bsd/vfs/vfs_xattr.c of xnu).
func (a *after) isFolder(d *walk.Dir, name string) bool {
	if name == "." {
		return d.Path == "" && a.prefix == ""
	}
	p := d.Join(name)
	_, known := a.tree.byPath[p]
	if !known {
		_, known = a.tree.ofForm(p)
	}
	return known
}

// double counts a file that was foretold before copying: a Mac wrote it for what the file beside it has of
// attributes, which the share cannot keep. Safe for concurrent use.
func (a *after) double(e *walk.Entry) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.extras.doubles++
	a.extras.doubleBytes = walk.AddSizes(a.extras.doubleBytes, e.Size)
}

// temporary says by what mark a name tells that its file was not finished, "" if by none. A name
// .nfs and 24 hexadecimal digits is what a client makes of a file that is removed while it is open.
func temporary(name string) string {
	if rest, ok := strings.CutPrefix(name, ".nfs"); ok && len(rest) >= 16 && strings.Trim(rest, "0123456789abcdef") == "" {
		return "begins with .nfs: removed while a program has it open"
	}
	return names.Unfinished(name)
}

// leftovers is the Finish of its check: the walk has found everything already.
func (a *after) leftovers(_ context.Context, pass *checks.Pass) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	x := &a.extras
	for _, f := range x.named {
		pass.Add(f)
	}
	for r, n := range x.unnamed {
		pass.Count(&walk.Dir{}, r, n)
		if r.Level == checks.Warn {
			pass.Add(checks.Finding{Rule: r, Level: r.Level, Detail: fmt.Sprintf("%s more like these", checks.Plural(n, "file"))})
		}
	}
	if x.own > 0 {
		pass.Fact("manifests", x.own, "Manifests of earlier checks on the share: %s", checks.Count(x.own))
	}
	if x.doubles > 0 {
		pass.FlagJob(doublesOnShare, "%s, %s", checks.Plural(x.doubles, "file"), checks.Bytes(x.doubleBytes))
		pass.Fact("attribute_files", x.doubles, "Attributes that a Mac keeps beside their files: %s, %s", checks.Plural(x.doubles, "file"), checks.Bytes(x.doubleBytes))
	}
	if x.files == 0 && x.doubles > 0 {
		pass.Summarize("Nothing is there that is not on the source, except %s with attributes.", checks.Plural(x.doubles, "file"))
		return nil
	}
	if x.files == 0 {
		pass.Summarize("Nothing is there that is not on the source.")
		return nil
	}
	pass.Fact("extra_files", x.files, "Not on the source: %s, %s", checks.Plural(x.files, "entry"), checks.Bytes(x.bytes))
	pass.Summarize("%s on the share that are not on the source, %s of them unfinished.", checks.Plural(x.files, "entry"), checks.Count(pass.Total(temporaryLeft)))
	return nil
}
