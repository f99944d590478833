package before

import (
	"context"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/walk"
)

var (
	specialFile = &checks.Rule{
		ID: "special-file", Level: checks.Warn,
		When:   "it is a FIFO, a socket or a device: it has no content to copy, and reading it can hang a copy",
		Fix:    "Leave it out of the copy.",
		Source: "common practice, no source",
	}
	hardLink = &checks.Rule{
		ID: "hard-link", Level: checks.Warn,
		When:   "the file has several names: each becomes a copy of its own",
		Fix:    "Nothing, if there is room for all (the free space counts each); else leave some names out.",
		Source: "link(2)",
	}
	sparseFile = &checks.Rule{
		ID: "sparse-file", Level: checks.Warn,
		When:   "the file has holes and takes up less than its size: it swells when copied",
		Fix:    "Nothing, if there is room (the free space counts it in full).",
		Source: "stat(2) st_blocks",
	}
	datalessFile = &checks.Rule{
		ID: "dataless-file", Level: checks.Warn,
		When:   "the content of the file is not on this disk: it comes from a server over the network when it is read",
		Fix:    "Download it before you copy, and make sure there is room for it; or leave it out.",
		Source: "SF_DATALESS in bsd/sys/stat.h of xnu; File Attribute Constants of Windows, RECALL_ON_DATA_ACCESS and OFFLINE",
	}
	emptyFolder = &checks.Rule{
		ID: "empty-folder", Level: checks.Note,
		When:   "the folder is empty: object stores have no folders, so it does not arrive",
		Fix:    "Put a small file in it if its name matters.",
		Source: "common practice, no source",
	}
	zeroLength = &checks.Rule{
		ID: "zero-length", Level: checks.Warn,
		When:   "the file has no content: often a take that was never written",
		Fix:    "Look for the take on the card or another disk before you go on.",
		Source: "common practice, no source",
	}
	tooLarge = &checks.Rule{
		ID: "too-large", Level: checks.Fail,
		When:   "the file is larger than an object may be (5 TiB, or -object-bytes), or than the share's file system takes",
		Fix:    "Split it (POSIX split(1)) and note how to join it again.",
		Source: "common practice, no source; RFC 1813 FSINFO maxfilesize",
	}
	otherMount = &checks.Rule{
		ID: "other-mount", Level: checks.Note,
		When:   "another file system is mounted in this folder; it is counted and copied too",
		Fix:    "Unmount it if it is not part of the archive.",
		Source: "proc(5) mountinfo; find(1) -xdev",
	}
	folderLoop = &checks.Rule{
		ID: "folder-loop", Level: checks.Fail,
		When:   "the folder is the same as one above it (a bind mount): a copy would never end",
		Fix:    "Unmount it before you copy.",
		Source: "mount(8) bind; find(1) reports the same as a file system loop",
	}
	nothingToCopy = &checks.Rule{
		ID: "nothing-to-copy", Level: checks.Fail,
		When:   "the source contains no file at all",
		Fix:    "Check whether the disk is mounted, and whether this is the folder you meant.",
		Source: "common practice, no source",
	}
)

var fileKinds = &checks.Check{
	ID: "file-kinds", Title: "Everything is a plain file or folder", Group: checks.GroupFiles,
	Doc: "An object has a key and bytes, nothing else. What is neither a plain file nor a folder with files in " +
		"it arrives differently, several times, or not at all.",
	Fix:   "Decide for each kind that is listed whether to leave it out or to change it.",
	Rules: []*checks.Rule{specialFile, hardLink, sparseFile, datalessFile, emptyFolder, zeroLength, tooLarge, otherMount, folderLoop, nothingToCopy},
	Begin: func(pass *checks.Pass) any {
		limit := pass.Job.ObjectBytes
		if n := fileLimit(pass); n > 0 {
			limit = min(limit, n)
		}
		return &limit
	},
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		limit := *pass.State.(*int64)
		switch {
		case d.Loop:
			pass.FlagFinding(d, checks.Finding{Path: d.Path, Rule: folderLoop, Level: folderLoop.Level, Detail: "leads back to a folder above it"})
		case len(d.Entries) == 0 && d.Err == nil && d.Path != "":
			pass.FlagFinding(d, checks.Finding{Path: d.Path, Rule: emptyFolder, Level: emptyFolder.Level, Detail: "is empty"})
		}
		for i := range d.Entries {
			e := &d.Entries[i]
			if e.Failed {
				continue
			}
			if e.MountRoot {
				pass.Flag(d, e, otherMount, "another file system is mounted here")
			}
			switch e.Kind {
			case walk.Other:
				pass.Flag(d, e, specialFile, "neither file nor folder nor link")
			case walk.File:
				if e.Links > 1 || e.Size == 0 || e.Size > limit || e.Dataless || isSparse(e) {
					judgeFile(pass, d, e, limit)
				}
			}
		}
	},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		n := pass.Tally()
		pass.Fact("files", n.Files, "%s, %s", checks.Plural(n.Files, "file"), checks.Bytes(n.Bytes))
		pass.Fact("folders", n.Folders, "%s", checks.Plural(n.Folders, "folder"))
		pass.Fact("links", n.Links, "%s", checks.Plural(n.Links, "link"))
		pass.Fact("others", n.Others, "%s", checks.Plural(n.Others, "special file"))
		if n.LargestFile > 0 {
			pass.Fact("largest_bytes", n.LargestFile, "Largest file: %s, %s", checks.Bytes(n.LargestFile), names.Quote(n.LargestPath))
		}
		if n.Files == 0 {
			pass.FlagJob(nothingToCopy, "%s, no file", checks.Plural(n.Folders, "folder"))
			pass.Summarize("There is nothing to copy.")
			return nil
		}
		pass.Summarize("%s in %s, %s, %s.", checks.Plural(n.Files, "file"), checks.Plural(n.Folders, "folder"), checks.Plural(n.Links, "link"), checks.Plural(n.Others, "special file"))
		return nil
	},
}

// fileLimit is the largest file that the share's file system takes, 0 where that is not known. An
// NFS server tells it to its client only (RFC 1813 FSINFO).
func fileLimit(pass *checks.Pass) int64 {
	s := checks.StateOf[shareState](pass, ShareMounted)
	if s == nil || s.Facts == nil {
		return 0
	}
	switch {
	case s.Facts.NFS && s.Facts.Version == "2":
		return 1<<31 - 1 // RFC 1094 (from memory)
	case s.Facts.Mount.Type == "vfat" || s.Facts.Mount.Type == "msdos":
		return 1<<32 - 1 // size field of 32 bits (from memory)
	}
	return 0
}

// isSparse tells holes. What a file system keeps compressed, or elsewhere, has none.
func isSparse(e *walk.Entry) bool {
	return !e.Compressed && !e.Dataless && e.Blocks >= 0 && e.Blocks*512+int64(e.BlockSize) < e.Size
}

func judgeFile(pass *checks.Pass, d *walk.Dir, e *walk.Entry, limit int64) {
	if e.Links > 1 {
		pass.Flag(d, e, hardLink, "has %d names", e.Links)
	}
	if e.Size == 0 && e.Name != names.FinderIcon {
		pass.Flag(d, e, zeroLength, "0 bytes")
	}
	if e.Size > limit {
		pass.Flag(d, e, tooLarge, "file is %s bytes, the limit is %s", checks.Count(e.Size), checks.Count(limit))
	}
	if e.Dataless {
		pass.Flag(d, e, datalessFile, "%s, none of it here", checks.Bytes(e.Size))
	}
	if isSparse(e) {
		pass.Flag(d, e, sparseFile, "takes up %s, its size is %s", checks.Bytes(e.Blocks*512), checks.Bytes(e.Size))
	}
}
