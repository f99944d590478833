package recheck

import "loadline/checks"

const (
	theManifest = "the manifest, made when the copy was proven"
	keepOthers  = "Keep every other copy. Copy this file again from one that is good, and recheck."
)

var (
	missing = &checks.Rule{
		ID: "copy-missing", Level: checks.Fail,
		When:   "the folder does not hold this file of the manifest",
		Fix:    keepOthers,
		Source: theManifest,
	}
	size = &checks.Rule{
		ID: "copy-size", Level: checks.Fail,
		When:   "the file has another size than in the manifest",
		Fix:    keepOthers,
		Source: theManifest,
	}
	unreadable = &checks.Rule{
		ID: "copy-unreadable", Level: checks.Fail,
		When:   "the file or folder could not be opened, or not be read to its end",
		Fix:    "Check permissions, cable and power, and recheck. If it happens again, copy this again from a good copy.",
		Source: "read(2), path_resolution(7)",
	}
	otherForm = &checks.Rule{
		ID: "copy-other-form", Level: checks.Note,
		When:   "the file is there under another Unicode normal form of its name",
		Fix:    "Nothing to do: some file systems spell names that way.",
		Source: "UAX #15",
	}
	extra = &checks.Rule{
		ID: "copy-extra", Level: checks.Note,
		When:   "the folder holds a file that the manifest does not know",
		Fix:    "Nothing to do for the copy. Nothing here vouches for this file.",
		Source: theManifest,
	}
	differs = &checks.Rule{
		ID: "copy-differs", Level: checks.Fail,
		When:   "the content of the file is not that of the manifest",
		Fix:    keepOthers,
		Source: "FIPS 180-4 (SHA-256)",
	}
	changing = &checks.Rule{
		ID: "copy-changing", Level: checks.Fail,
		When:   "the file changed while it was read",
		Fix:    "Stop whatever writes to the folder, and recheck.",
		Source: "stat(2): size and times before and after reading",
	}
	sampled = &checks.Rule{
		ID: "copy-sampled", Level: checks.Warn,
		When:   "only some of the files were read",
		Fix:    "Recheck without -sample before you rely on this copy alone.",
		Source: "binomial distribution; 95 % certainty is common practice, no source",
	}
	cached = &checks.Rule{
		ID: "copy-through-cache", Level: checks.Note,
		When:   "this system offers no way to read past its cache here",
		Fix:    "Unmount the disk, mount it again, and recheck, if it was written not long ago.",
		Source: "open(2) O_DIRECT, posix_fadvise(2), fcntl(2) F_NOCACHE",
	}
)

var completeCheck = checks.Check{
	ID: "copy-complete", Title: "Every file of the manifest is there", Group: checks.GroupCopy,
	Doc: "Walks the folder and checks that every file of the manifest is there, with its size. " +
		"Paths are those of the manifest, without the prefix that keys have. Whatever else is there is noted.",
	Fix:   "Keep every other copy. Copy again what is missing, and recheck.",
	Rules: []*checks.Rule{missing, size, unreadable, otherForm, extra},
}

var contentCheck = checks.Check{
	ID: "copy-content", Title: "Every file is what it was", Group: checks.GroupCopy,
	Doc: "Reads every file to its last byte, past this computer's cache, and compares it with the manifest by SHA-256. " +
		"A run that was stopped continues where it left off within a week; after that, everything is read again.",
	Fix:   "Keep every other copy. Copy again what differs, and recheck.",
	Rules: []*checks.Rule{differs, unreadable, changing, sampled, cached},
}
