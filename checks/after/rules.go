package after

import (
	"loadline/checks"
	"loadline/checks/before"
)

// The rules after copying.
var (
	noCopy = &checks.Rule{
		ID: "no-copy", Level: checks.Fail,
		When:   "the folder that should hold the copy, or a part of it, is not on the share",
		Fix:    "Copy the source into that folder, or name the folder that holds the copy.",
		Source: "stat(2)",
	}
	nothingToCheck = &checks.Rule{
		ID: "nothing-to-check", Level: checks.Fail,
		When:   "the source contains no file",
		Fix:    "Check whether the right disk is mounted, and whether the right folder is chosen.",
		Source: "common practice, no source",
	}
	missingOnShare = &checks.Rule{
		ID: "missing-on-share", Level: checks.Fail,
		When:   "a file of the source, or a whole folder, is not on the share",
		Fix:    "Copy it, then check again: what is proven is not read again.",
		Source: "readdir(3) of both sides",
	}
	sizeDiffers = &checks.Rule{
		ID: "size-differs", Level: checks.Fail,
		When:   "the copy differs in size from the file",
		Fix:    "Copy this file again: its copy was cut off.",
		Source: "stat(2) of both sides",
	}
	kindDiffers = &checks.Rule{
		ID: "kind-differs", Level: checks.Fail,
		When:   "a link, a folder or a special file is on the share in place of the file",
		Fix:    "Remove it and copy the file again.",
		Source: "stat(2) of both sides",
	}
	sourceChanged = &checks.Rule{
		ID: "source-changed", Level: checks.Fail,
		When:   "the source file was changed after it was copied, or while it was read",
		Fix:    "Make sure nothing writes to the source any more, then copy this file again.",
		Source: "stat(2): size and times of both sides",
	}
	unreadableSource = &checks.Rule{
		ID: "unreadable-source", Level: checks.Fail,
		When:   "a file or folder of the source cannot be read",
		Fix:    "Check again as a user who may read it. If the disk reports read errors, save this file first.",
		Source: "open(2), read(2)",
	}
	unreadableOnShare = &checks.Rule{
		ID: "unreadable-on-share", Level: checks.Fail,
		When:   "the share does not give back a file or folder that is on it",
		Fix:    "Copy it again. If it still cannot be read, ask whoever rents out the appliance.",
		Source: "open(2), read(2)",
	}
	clutterLeftOut = &checks.Rule{
		ID: "clutter-left-out", Level: checks.Note,
		When:   "a file that a desktop or an operating system left on the disk is not on the share (warns in lost+found, where it may be footage that lost its name)",
		Fix:    "Nothing to do: it is not footage.",
		Source: "common practice, no source; mklost+found(8)",
	}
	leftOffList = &checks.Rule{
		ID: "left-off-list", Level: checks.Warn,
		When:   "files of the source are neither on the copy list nor on the share",
		Fix:    "They exist on this disk only: copy them, or be sure you can lose them.",
		Source: "the copy list that was given",
	}
	listOutdated = &checks.Rule{
		ID: "list-outdated", Level: checks.Warn,
		When:   "the copy list names paths that are not on the source",
		Fix:    "Find out where these files went since the list was written, then write it again.",
		Source: "the copy list that was given",
	}
	missingFolder = &checks.Rule{
		ID: "missing-folder", Level: checks.Note,
		When:   "a folder without files is not on the share",
		Fix:    "Nothing to do: object stores have no folders.",
		Source: "common practice, no source",
	}
	linkNotChecked = &checks.Rule{
		ID: "link-not-checked", Level: checks.Warn,
		When:   "the source contains a link: it has no content of its own and will not become an object",
		Fix:    "Make sure that what it points to is copied as a file, or is safe elsewhere.",
		Source: "symlink(7)",
	}
	specialNotChecked = &checks.Rule{
		ID: "special-not-checked", Level: checks.Note,
		When:   "the source contains a FIFO, a socket or a device, which has no content to copy",
		Fix:    "Nothing to do.",
		Source: "inode(7)",
	}
	anotherForm = &checks.Rule{
		ID: "another-form", Level: checks.Warn,
		When:   "a file is on the share under another Unicode normal form of its name",
		Fix:    "Nothing to do for the content, which is compared. Its key will have the form that the share has: the manifest holds both.",
		Source: "UAX #15",
	}
	dateDiffers = &checks.Rule{
		ID: "date-differs", Level: checks.Note, Counted: true,
		When:   "the copy's date differs from the file's by more than 2 s",
		Fix:    "Nothing to do for the content. To keep dates, copy with an option that preserves them.",
		Source: "cp(1) -p; 2 s is the grain of dates on FAT (from memory)",
	}

	contentDiffers = &checks.Rule{
		ID: "content-differs", Level: checks.Fail,
		When:   "the copy has the size of the file, but different bytes",
		Fix:    "Copy this file again. If it happens again, look at cable, memory and disk before you trust any copy.",
		Source: "FIPS 180-4 (SHA-256)",
	}
	sourceRotted = &checks.Rule{
		ID: "source-rotted", Level: checks.Fail,
		When: "the source no longer holds what it held when it was read before, though its size and dates are the same",
		Fix: "Do not copy this file again: the disk has lost its content. If the share holds it as it was, save it from there; then replace the disk. " +
			"Only if you know that a program wrote to it and kept its date: give it a new date (touch), then check again.",
		Source: "common practice, no source",
	}
	unverifiableRead = &checks.Rule{
		ID: "unverifiable-read", Level: checks.Note,
		When:   "nothing that a client can see tells whether what was read back came from the disks of the appliance or from its memory",
		Fix:    "To be sure, switch the appliance off and on again as its instructions say, mount the share, then read some files back against the manifest.",
		Source: "exports(5), async",
	}
	shortOnShare = &checks.Rule{
		ID: "short-on-share", Level: checks.Fail,
		When:   "the share returns fewer bytes than the size it reports",
		Fix:    "The share ran full or lost writes. Make room, then copy this file again.",
		Source: "close(2), fsync(2); after ENOSPC a version 3 stat showed the full size, measured",
	}
	stillCopying = &checks.Rule{
		ID: "still-copying", Level: checks.Fail,
		When:   "the copy changed while it was read",
		Fix:    "Wait until the copy has ended, then check again.",
		Source: "stat(2): size and times before and after reading",
	}
	cacheNotPassed = &checks.Rule{
		ID: "cache-not-passed", Level: checks.Warn,
		When:   "this system offers no way to read past its cache: what was read may never have left this computer",
		Fix:    "Unmount the share, mount it again, and check again before anything else reads it.",
		Source: "open(2) O_DIRECT, posix_fadvise(2), fcntl(2) F_NOCACHE",
	}
	flushFailed = &checks.Rule{
		ID: "flush-failed", Level: checks.Fail,
		When:   "the share did not take what this computer still held for it",
		Fix:    "Check the space on the share and its connection, then copy again what is reported, and check again.",
		Source: "syncfs(2)",
	}
	manifestNotWritten = &checks.Rule{
		ID: "manifest-not-written", Level: checks.Warn,
		When:   "the manifest could not be written in one of its two places",
		Fix:    "Make room or choose another file with -manifest, then check again: what is proven is not read again.",
		Source: "fsync(2), rename(2)",
	}

	temporaryLeft = &checks.Rule{
		ID: "temporary-left", Level: checks.Warn,
		When:   "the share has a file whose name suggests that a copy or a program did not finish",
		Fix:    "Check whether the finished file is there, then remove this one, or it becomes an object.",
		Source: "common practice, no source; .nfsXXXX: a file removed while it was open, measured",
	}
	extraOnShare = &checks.Rule{
		ID: "extra-on-share", Level: checks.Note,
		When:   "the share has something that is not on the source; it will become an object",
		Fix:    "Check whether it belongs there. If not, remove it from the share.",
		Source: "readdir(3) of both sides",
	}
	doublesOnShare = &checks.Rule{
		ID: "apple-double-on-share", Level: checks.Note,
		When:   "the share has files named ._NAME in which a Mac keeps attributes of NAME, as the check before copying said; each will become an object",
		Fix:    "Nothing to do for the content. If you do not want these objects, remove the files from the share.",
		Source: "bsd/vfs/vfs_xattr.c of xnu: what a file system cannot keep goes to a ._ file; RFC 1740, from memory",
	}
)

// checksOf declares the checks of one run after copying.
func checksOf(a *after) []*checks.Check {
	mounted := before.ShareMounted
	onShare := &checks.Check{
		ID: "on-share", Title: "Every file is on the share", Group: checks.GroupCopy, NeedsShare: true,
		Doc: "Reads the folders of both sides and compares what they hold: every file of the source must be " +
			"on the share, as a file of the same size. Dates are compared too, since they distinguish a source " +
			"that was changed after the copy from a copy that went wrong.",
		Fix: "Copy what is missing or differs, then check again.",
		Rules: []*checks.Rule{
			noCopy, nothingToCheck, missingOnShare, sizeDiffers, kindDiffers, sourceChanged, unreadableSource,
			unreadableOnShare, clutterLeftOut, leftOffList, listOutdated, missingFolder, linkNotChecked, specialNotChecked, anotherForm, dateDiffers,
		},
		Begin: a.begin, Visit: a.visit, Finish: a.onShare,
	}
	content := &checks.Check{
		ID: "content", Title: "Every byte on the share is right", Group: checks.GroupCopy, NeedsShare: true,
		Doc: "Reads every file on both sides in full and compares their SHA-256. The share is read past this " +
			"computer's cache: what counts is what the appliance gives back, not what this computer remembers. " +
			"A file of the source that was read before and is unchanged since is not read again, unless the two " +
			"sides differ. If all agree, the checksums become the manifest, against which the arrival is checked.",
		Fix: "Copy what differs again, then check again: what is proven is not read again.",
		Rules: []*checks.Rule{
			contentDiffers, sourceRotted, shortOnShare, sourceChanged, stillCopying, unreadableSource, unreadableOnShare,
			cacheNotPassed, unverifiableRead, flushFailed, manifestNotWritten,
		},
		Needs: []*checks.Check{onShare}, Finish: a.content,
	}
	leftovers := &checks.Check{
		ID: "leftovers", Title: "Nothing is left over on the share", Group: checks.GroupCopy, NeedsShare: true,
		Doc: "Lists what is in the folder of the copy but not on the source. Everything there becomes an " +
			"object: partial files of a copy that was cut off, and files since removed from the source.",
		Fix:   "Remove from the share what does not belong there.",
		Rules: []*checks.Rule{temporaryLeft, extraOnShare, doublesOnShare},
		Needs: []*checks.Check{onShare}, Finish: a.leftovers,
	}
	return []*checks.Check{mounted, onShare, content, leftovers}
}
