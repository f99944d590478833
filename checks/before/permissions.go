package before

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"strings"
	"sync/atomic"
	"syscall"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/walk"
)

var (
	folderUnreadable = &checks.Rule{
		ID: "folder-unreadable", Level: checks.Fail,
		When:   "the folder cannot be listed or opened by the person who copies (a note where it is system clutter, or inside it)",
		Fix:    "Give yourself the right to read and search it (chmod u+rx), or run the copy as its owner.",
		Source: "path_resolution(7), access(2)",
	}
	fileUnreadable = &checks.Rule{
		ID: "file-unreadable", Level: checks.Fail,
		When:   "the file cannot be opened by the person who copies (a note where it is system clutter, or inside it)",
		Fix:    "Give yourself the right to read it (chmod u+r), or run the copy as its owner.",
		Source: "path_resolution(7), access(2)",
	}
	readError = &checks.Rule{
		ID: "read-error", Level: checks.Fail,
		When:   "the disk reports an error while listing or looking",
		Fix:    "Stop using the disk, check cable and power, and make a copy of it elsewhere first: it may be failing.",
		Source: "read(2) EIO",
	}
	vanished = &checks.Rule{
		ID: "vanished", Level: checks.Warn,
		When:   "it was listed, and gone when looked at",
		Fix:    "Close every program that uses the disk, then check again.",
		Source: "stat(2) ENOENT",
	}
)

// permissionState says how the reader of this run is to be judged.
type permissionState struct {
	reader    reader
	inClutter atomic.Int64 // entries that cannot be read and do not matter
}

var permissions = &checks.Check{
	ID: "permissions", Title: "Every file can be read", Group: checks.GroupFiles,
	Doc: "Lists every folder and checks whether you may read every file, with access lists and " +
		"capabilities as the system applies them. What cannot be read is left out of the copy, often with no more than " +
		"one line among thousands.",
	Fix:   "Give yourself the right to read what is listed, or run the copy as its owner.",
	Rules: []*checks.Rule{folderUnreadable, fileUnreadable, readError, vanished},
	Begin: func(pass *checks.Pass) any { return &permissionState{reader: readerOf(pass)} },
	Visit: visitPermissions,
	Finish: func(_ context.Context, pass *checks.Pass) error {
		n := pass.Tally()
		closed := pass.Total(folderUnreadable) + pass.Total(fileUnreadable)
		inClutter := pass.State.(*permissionState).inClutter.Load()
		if inClutter > 0 {
			pass.Fact("closed_clutter", inClutter, "Unreadable, but only system clutter: %s", checks.Plural(inClutter, "entry"))
		}
		switch closed -= inClutter; {
		case closed+pass.Total(readError) > 0:
			pass.Summarize("%s cannot be read; the disk reported %s.", checks.Plural(closed, "file or folder"), checks.Plural(pass.Total(readError), "error"))
		case inClutter > 0:
			pass.Summarize("All %s and %s can be read, except %s of system clutter.", checks.Plural(n.Files, "file"), checks.Plural(n.Folders, "folder"), checks.Plural(inClutter, "entry"))
		default:
			pass.Summarize("%s and %s can be read.", checks.Plural(n.Files, "file"), checks.Plural(n.Folders, "folder"))
		}
		if os.Geteuid() == 0 {
			pass.Fact("as_root", true, "Checked as root, who may read everything: this proves little about what the person who copies may read")
		}
		return nil
	},
}

func visitPermissions(pass *checks.Pass, d *walk.Dir) {
	s := pass.State.(*permissionState)
	inside := names.ClutterAbove(d.Path) != ""
	// closed flags what the person may not read. A Mac keeps the clutter folders of a disk's root from
	// everybody (measured); none of that is footage.
	closed := func(f checks.Finding, clutter bool, err error) {
		f.Remedy = privacyRemedy(runtime.GOOS, err)
		if clutter {
			f.Level, f.Remedy = checks.Note, "Nothing to do: an operating system keeps it for itself, and it is left out of the copy."
			s.inClutter.Add(1)
		}
		pass.FlagFinding(d, f)
	}
	if d.Err != nil {
		f := checks.Finding{Path: strings.Clone(d.Path), Level: checks.Fail, Detail: checks.Reason(d.Err)}
		switch {
		case errors.Is(d.Err, fs.ErrPermission):
			f.Rule = folderUnreadable
			closed(f, inside, d.Err)
		case errors.Is(d.Err, fs.ErrNotExist):
			f.Rule, f.Level = vanished, checks.Warn
			pass.FlagFinding(d, f)
		default:
			f.Rule = readError
			pass.FlagFinding(d, f)
		}
	}
	for i := range d.Entries {
		e := &d.Entries[i]
		f := checks.Finding{Level: checks.Fail}
		var err error
		switch {
		case e.Failed:
			switch err = d.Why(e.Name); {
			case errors.Is(err, fs.ErrNotExist):
				pass.Flag(d, e, vanished, "gone between listing and looking")
				continue
			case !errors.Is(err, fs.ErrPermission):
				pass.Flag(d, e, readError, "%s", checks.Reason(err))
				continue
			case e.Kind == walk.Folder:
				f.Rule, f.Detail = folderUnreadable, "the folder that holds it may not be searched"
			default:
				f.Rule, f.Detail = fileUnreadable, "its folder may not be searched"
			}
		case e.Kind == walk.File && !s.reader.surely(e):
			if err = d.Access(e.Name); err == nil {
				continue
			}
			if errors.Is(err, fs.ErrNotExist) {
				pass.Flag(d, e, vanished, "gone between listing and looking")
				continue
			}
			f.Rule, f.Size = fileUnreadable, e.Size
			f.Detail = fmt.Sprintf("mode %04o, owner %d, group %d: you may not read it", e.Perm, e.UID, e.GID)
		default:
			continue
		}
		f.Path = d.Join(e.Name)
		closed(f, inside || names.Clutter(e.Name), err)
	}
}

// privacyRemedy is what to do where a system refuses although modes and access lists may allow: a Mac
// asks for the person's consent, and answers EPERM where its file permissions answer EACCES. "" leaves
// the rule's own remedy.
func privacyRemedy(system string, err error) string {
	if system != "darwin" || !errors.Is(err, syscall.EPERM) {
		return ""
	}
	return "The system keeps this from the program, whatever its permissions say. Open System Settings, Privacy & Security, " +
		"and under Files and Folders allow removable and network volumes, or allow Full Disk Access, for Loadline or for the terminal it runs in; then check again."
}

// A reader knows for most files from their mode alone that this process may read them, which saves
// a call to the system for each.
type reader struct {
	uid uint32
	all bool // a capability that overrides permissions
}

func readerOf(pass *checks.Pass) reader {
	r := reader{uid: uint32(os.Geteuid())}
	// A server or a FUSE daemon has its own view of root: there, every file is asked for.
	r.all = overridesPermissions()
	for i := range pass.Job.Disks() {
		m, known := pass.SourceMount(i)
		r.all = r.all && known && !m.Remote()
	}
	return r
}

// surely reports whether e can be read without doubt. The owner's bits are the owner's entry in an
// access list too (acl(5)), so they decide alone; for anybody else the system is to be asked.
func (r *reader) surely(e *walk.Entry) bool {
	return r.all || e.UID == r.uid && e.Perm&0o400 != 0 && os.PathSeparator == '/'
}
