package checks

import (
	"context"
	"fmt"
	"strings"
	"sync"

	"loadline/checks/names"
	"loadline/checks/walk"
)

var (
	appleDouble = &Rule{
		ID: "apple-double", Level: Warn,
		When:   "the file begins with ._ and the magic number 00 05 16 07: it holds attributes of the file beside it",
		Fix:    "Leave it out, or the store fills with twice the objects.",
		Source: "RFC 1740 (from memory); file(1) magic",
	}
	desktopClutter = &Rule{
		ID: "desktop-clutter", Level: Warn,
		When:   "a desktop or an operating system keeps its own notes there: .DS_Store, Thumbs.db, $RECYCLE.BIN, lost+found and the like",
		Fix:    "Leave it out of the copy.",
		Source: "common practice, no source",
	}
	unfinishedFile = &Rule{
		ID: "unfinished-file", Level: Warn,
		When:   "the name says that a download, a program or a copy did not end: .part, .partial, .crdownload, .tmp, ~$NAME, .NAME.XXXXXX",
		Fix:    "Look whether the finished file is there; then leave this one out.",
		Source: "common practice, no source",
	}
	ownFile = &Rule{
		ID: "own-file", Level: Note,
		When:   "it is a journal of renames that Loadline keeps on the disk, so that they can be undone",
		Fix:    "Leave it out of the copy. Undo needs it; it can go once the renames are to stay.",
		Source: "own name, .loadline-",
	}
)

// clutterNames are those that stand for themselves, written as their systems write them.
var clutterNames = map[string]bool{
	".DS_Store": true, ".Spotlight-V100": true, ".Trashes": true, ".fseventsd": true, ".TemporaryItems": true,
	"Thumbs.db": true, "desktop.ini": true, "$RECYCLE.BIN": true, "System Volume Information": true, "lost+found": true,
}

// clutterState adds up what lies below folders that are clutter.
type clutterState struct {
	mu    sync.Mutex
	found map[string]*below
	kinds map[string]walk.Kind
}

var clutter = &Check{
	ID: "clutter", Title: "No system clutter is copied", Group: GroupFiles,
	Doc: "Knows by their names the files and folders that desktops and operating systems leave on a disk, and " +
		"AppleDouble files by their magic number. They cost calls on the way and objects in the store.",
	Fix:   "Leave out what is listed: save the skip list and give it to your copy command.",
	Rules: []*Rule{appleDouble, desktopClutter, unfinishedFile, ownFile},
	Begin: func(*Pass) any {
		return &clutterState{found: map[string]*below{}, kinds: map[string]walk.Kind{}}
	},
	Visit: visitClutter,
	Finish: func(_ context.Context, pass *Pass) error {
		s := pass.State.(*clutterState)
		sum := below{}
		for p, b := range s.found {
			sum.files += b.files
			sum.bytes = plus(sum.bytes, b.bytes)
			f := Finding{Path: p, Rule: desktopClutter, Level: desktopClutter.Level, Detail: "kept by a desktop or an operating system"}
			if s.kinds[p] == walk.Folder {
				f.Detail += fmt.Sprintf("; %s, %s below", Plural(b.files, "file"), Bytes(b.bytes))
			} else {
				f.Size = b.bytes
			}
			pass.Add(f)
		}
		n := int64(len(s.found)) + pass.Total(appleDouble) + pass.Total(unfinishedFile)
		pass.Fact("clutter_bytes", sum.bytes, "Kept by desktops and systems: %s, %s", Plural(sum.files, "file"), Bytes(sum.bytes))
		if n == 0 {
			pass.Summarize("None found.")
		} else {
			pass.Summarize("%s to leave out: %s of desktops, %s of AppleDouble, %s unfinished.", Plural(n, "entry"),
				Count(int64(len(s.found))), Count(pass.Total(appleDouble)), Count(pass.Total(unfinishedFile)))
		}
		return nil
	},
}

func visitClutter(pass *Pass, d *walk.Dir) {
	s := pass.State.(*clutterState)
	if top := clutterAbove(d.Path); top != "" {
		files, bytes := plainFiles(d)
		s.add(top, walk.Folder, files, bytes)
	}
	for i := range d.Entries {
		e := &d.Entries[i]
		// Most names end here: clutter has its marks at the front or, with a dot, at the end.
		switch e.Name[0] {
		case '.', '$', 'T', 'd', 'S', 'l':
			if isClutter(e.Name) {
				if clutterAbove(d.Path) == "" {
					size := int64(0)
					if e.Kind == walk.File {
						size = e.Size
					}
					s.add(d.Join(e.Name), e.Kind, choose(e.Kind == walk.File, int64(1), 0), size)
				}
				continue
			}
		}
		if e.Kind != walk.File || e.Failed {
			continue
		}
		if isAppleDouble(d, e) {
			pass.Flag(d, e, appleDouble, "begins with 00 05 16 07")
		}
		if names.Own(e.Name) {
			pass.Flag(d, e, ownFile, "kept by Loadline")
		} else if how := unfinished(e.Name); how != "" {
			pass.Flag(d, e, unfinishedFile, "%s", how)
		}
	}
}

func (s *clutterState) add(path string, kind walk.Kind, files, bytes int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	b := s.found[path]
	if b == nil {
		b = &below{}
		s.found[path], s.kinds[path] = b, kind
	}
	b.files += files
	b.bytes = plus(b.bytes, bytes)
}

// clutterAbove returns the topmost part of a folder's path that is clutter, "" if none is.
func clutterAbove(path string) string {
	for at := 0; at < len(path); {
		end := strings.IndexByte(path[at:], '/')
		if end < 0 {
			end = len(path) - at
		}
		if isClutter(path[at : at+end]) {
			return path[:at+end]
		}
		at += end + 1
	}
	return ""
}

func isClutter(name string) bool {
	if clutterNames[name] {
		return true
	}
	uid, ok := strings.CutPrefix(name, ".Trash-")
	return ok && uid != "" && strings.Trim(uid, "0123456789") == ""
}

// unfinished says by what mark a name tells that its file was not finished, "" if by none.
func unfinished(name string) string {
	if strings.HasPrefix(name, "~$") {
		return "begins with ~$: a program has it open, or crashed"
	}
	dot := strings.LastIndexByte(name, '.')
	if dot < 0 {
		return ""
	}
	switch end := name[dot:]; end {
	case ".part", ".partial", ".crdownload", ".tmp":
		return "ends in " + end
	}
	// .NAME.XXXXXX: a hidden name with the six letters and digits of mkstemp(3).
	if end := name[dot+1:]; name[0] == '.' && dot > 1 && len(end) == 6 {
		for i := range len(end) {
			c := end[i] | 0x20
			if (c < 'a' || c > 'z') && (end[i] < '0' || end[i] > '9') {
				return ""
			}
		}
		return "hidden, with six random letters at its end: a copy was cut off"
	}
	return ""
}

// isAppleDouble looks at the name and the first four bytes of a file.
func isAppleDouble(d *walk.Dir, e *walk.Entry) bool {
	if len(e.Name) <= 2 || !strings.HasPrefix(e.Name, "._") || e.Size < 4 {
		return false
	}
	var head [4]byte
	n, err := d.Head(e.Name, head[:]) // an error is the business of the check of permissions
	return err == nil && n == 4 && head == [4]byte{0x00, 0x05, 0x16, 0x07}
}
