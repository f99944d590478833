package checks

import (
	"context"
	"errors"
	"io/fs"
	"os"

	"loadline/checks/walk"
)

var (
	folderUnreadable = &Rule{
		ID: "folder-unreadable", Level: Fail,
		When:   "the folder cannot be listed or opened by the person who copies",
		Fix:    "Give yourself the right to read and search it (chmod u+rx), or run the copy as its owner.",
		Source: "path_resolution(7), access(2)",
	}
	fileUnreadable = &Rule{
		ID: "file-unreadable", Level: Fail,
		When:   "the file cannot be opened by the person who copies",
		Fix:    "Give yourself the right to read it (chmod u+r), or run the copy as its owner.",
		Source: "path_resolution(7), access(2)",
	}
	readError = &Rule{
		ID: "read-error", Level: Fail,
		When:   "the disk reports an error while listing or looking",
		Fix:    "Stop using the disk, check cable and power, and make a copy of it elsewhere first: it may be failing.",
		Source: "read(2) EIO",
	}
	vanished = &Rule{
		ID: "vanished", Level: Warn,
		When:   "it was listed, and gone when looked at",
		Fix:    "Close every program that works on the disk, then check again.",
		Source: "stat(2) ENOENT",
	}
)

// permissionState says how the reader of this run is to be judged.
type permissionState struct {
	reader reader
}

var permissions = &Check{
	ID: "permissions", Title: "Every file can be read", Group: GroupFiles,
	Doc: "Lists every folder and asks for every file whether you may read it, with access lists and " +
		"capabilities as the system applies them. What cannot be read is left out of the copy, often with " +
		"one line among thousands.",
	Fix:   "Give yourself the right to read what is listed, or run the copy as its owner.",
	Rules: []*Rule{folderUnreadable, fileUnreadable, readError, vanished},
	Begin: func(pass *Pass) any { return &permissionState{reader: readerOf(pass)} },
	Visit: func(pass *Pass, d *walk.Dir) {
		if d.Err != nil {
			f := Finding{Path: d.Path, Level: Fail, Detail: reasonOf(d.Err)}
			switch {
			case errors.Is(d.Err, fs.ErrPermission):
				f.Rule = folderUnreadable
			case errors.Is(d.Err, fs.ErrNotExist):
				f.Rule, f.Level = vanished, Warn
			default:
				f.Rule = readError
			}
			pass.FlagFinding(d, f)
		}
		reader := &pass.State.(*permissionState).reader
		for i := range d.Entries {
			e := &d.Entries[i]
			switch {
			case e.Failed:
				err := d.Why(e.Name)
				switch {
				case errors.Is(err, fs.ErrNotExist):
					pass.Flag(d, e, vanished, "gone between listing and looking")
				case !errors.Is(err, fs.ErrPermission):
					pass.Flag(d, e, readError, "%s", reasonOf(err))
				case e.Kind == walk.Folder:
					pass.Flag(d, e, folderUnreadable, "the folder that holds it may not be searched")
				default:
					pass.Flag(d, e, fileUnreadable, "its folder may not be searched")
				}
			case e.Kind == walk.File && !reader.surely(e):
				if err := d.Access(e.Name); errors.Is(err, fs.ErrNotExist) {
					pass.Flag(d, e, vanished, "gone between listing and looking")
				} else if err != nil {
					pass.Flag(d, e, fileUnreadable, "mode %04o, owner %d, group %d: you may not read it", e.Perm, e.UID, e.GID)
				}
			}
		}
	},
	Finish: func(_ context.Context, pass *Pass) error {
		n := pass.Tally()
		closed := pass.Total(folderUnreadable) + pass.Total(fileUnreadable)
		if closed+pass.Total(readError) == 0 {
			pass.Summarize("%s and %s can be read.", Plural(n.Files, "file"), Plural(n.Folders, "folder"))
		} else {
			pass.Summarize("%s or folders cannot be read; the disk reported %s.", Plural(closed, "file"), Plural(pass.Total(readError), "error"))
		}
		if os.Geteuid() == 0 {
			pass.Fact("as_root", true, "Seen as root, who may read everything: this proves little about the person who copies")
		}
		return nil
	},
}

// reasonOf returns the system's words for an error, without the path that stands beside it anyway.
func reasonOf(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return err.Error()
}
