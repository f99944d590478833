package before

import (
	"context"
	"fmt"
	"sync"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/walk"
)

var (
	appleDouble = &checks.Rule{
		ID: "apple-double", Level: checks.Warn,
		When:   "the file begins with ._ and the magic number 00 05 16 07: it holds attributes of the file beside it",
		Fix:    "Leave it out, or the store ends up with twice as many objects.",
		Source: "RFC 1740 (from memory); file(1) magic",
	}
	desktopClutter = &checks.Rule{
		ID: "desktop-clutter", Level: checks.Warn,
		When:   "a desktop or an operating system keeps its own files there: .DS_Store, Thumbs.db, $RECYCLE.BIN, lost+found and the like",
		Fix:    "Leave it out of the copy.",
		Source: "common practice, no source",
	}
	unfinishedFile = &checks.Rule{
		ID: "unfinished-file", Level: checks.Warn,
		When:   "the name suggests that a download, a program or a copy did not finish: .part, .partial, .crdownload, .tmp, ~$NAME, .NAME.XXXXXX",
		Fix:    "Check whether the finished file is there, then leave this one out.",
		Source: "common practice, no source",
	}
	bundle = &checks.Rule{
		ID: "bundle", Level: checks.Note,
		When:   "a desktop shows this folder as one file: a film library, a photo library, a program",
		Fix:    "Rename nothing inside it: the program that made it would not find its parts. It arrives as many objects; to keep it whole, archive it as one file.",
		Source: "common practice, no source",
	}
	ownFile = &checks.Rule{
		ID: "own-file", Level: checks.Note,
		When:   "it is a journal of renames that Loadline keeps on the disk, so that they can be undone",
		Fix:    "Leave it out of the copy. Undo needs it; it can go once you are sure to keep the renames.",
		Source: "own name, .loadline-",
	}
)

// clutterState adds up what is below the topmost folders that are clutter, and below bundles.
type clutterState struct {
	mu      sync.Mutex
	found   map[placed]*below
	kinds   map[placed]walk.Kind
	bundles map[placed]*below
}

var clutter = &checks.Check{
	ID: "clutter", Title: "No system clutter is copied", Group: checks.GroupFiles,
	Doc: "Knows by their names the files and folders that desktops and operating systems leave on a disk, and " +
		"AppleDouble files by their magic number. They cost time on the way and become objects in the store.",
	Fix:   "Leave out what is listed: save the skip list and give it to your copy command.",
	Rules: []*checks.Rule{appleDouble, desktopClutter, unfinishedFile, bundle, ownFile},
	Begin: func(*checks.Pass) any {
		return &clutterState{found: map[placed]*below{}, kinds: map[placed]walk.Kind{}, bundles: map[placed]*below{}}
	},
	Visit: visitClutter,
	Finish: func(_ context.Context, pass *checks.Pass) error {
		s := pass.State.(*clutterState)
		sum := below{}
		for p, b := range s.found {
			sum.files += b.files
			sum.bytes = walk.AddSizes(sum.bytes, b.bytes)
			f := checks.Finding{Path: p.path, Source: p.source, Rule: desktopClutter, Level: desktopClutter.Level, Detail: "kept by a desktop or an operating system"}
			if s.kinds[p] == walk.Folder {
				f.Detail += fmt.Sprintf("; %s, %s below", checks.Plural(b.files, "file"), checks.Bytes(b.bytes))
			} else {
				f.Size = b.bytes
			}
			pass.Add(f)
		}
		for p, b := range s.bundles {
			pass.Add(checks.Finding{
				Path: p.path, Source: p.source, Rule: bundle, Level: bundle.Level,
				Detail: fmt.Sprintf("shown as one file; %s, %s below", checks.Plural(b.files, "file"), checks.Bytes(b.bytes)),
			})
		}
		n := int64(len(s.found)) + pass.Total(appleDouble) + pass.Total(unfinishedFile)
		pass.Fact("clutter_bytes", sum.bytes, "Kept by desktops and systems: %s, %s", checks.Plural(sum.files, "file"), checks.Bytes(sum.bytes))
		if n == 0 {
			pass.Summarize("None found.")
		} else {
			pass.Summarize("%s to leave out: %s of desktops, %s of AppleDouble, %s unfinished.", checks.Plural(n, "entry"),
				checks.Count(int64(len(s.found))), checks.Count(pass.Total(appleDouble)), checks.Count(pass.Total(unfinishedFile)))
		}
		return nil
	},
}

func visitClutter(pass *checks.Pass, d *walk.Dir) {
	s := pass.State.(*clutterState)
	top := names.ClutterAbove(d.Path)
	if top != "" {
		files, bytes := plainFiles(d)
		s.add(placed{d.Source, top}, walk.Folder, files, bytes)
	}
	inside := names.BundleAbove(d.Path)
	if inside != "" {
		files, bytes := plainFiles(d)
		s.addBundle(placed{d.Source, inside}, files, bytes)
	}
	for i := range d.Entries {
		e := &d.Entries[i]
		if names.Clutter(e.Name) {
			if top == "" {
				size := int64(0)
				if e.Kind == walk.File {
					size = e.Size
				}
				s.add(placed{d.Source, d.Join(e.Name)}, e.Kind, choose(e.Kind == walk.File, int64(1), 0), size)
			}
			continue
		}
		if e.Kind == walk.Folder && inside == "" && names.BundleName(e.Name) {
			s.addBundle(placed{d.Source, d.Join(e.Name)}, 0, 0)
		}
		if e.Kind != walk.File || e.Failed {
			continue
		}
		if checks.IsAppleDouble(d, e) {
			pass.Flag(d, e, appleDouble, "begins with 00 05 16 07")
		}
		if names.Own(e.Name) {
			pass.Flag(d, e, ownFile, "kept by Loadline")
		} else if how := names.Unfinished(e.Name); how != "" {
			pass.Flag(d, e, unfinishedFile, "%s", how)
		}
	}
}

func (s *clutterState) add(path placed, kind walk.Kind, files, bytes int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.kinds[addBelow(s.found, path, files, bytes)] = kind
}

func (s *clutterState) addBundle(path placed, files, bytes int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	addBelow(s.bundles, path, files, bytes)
}
