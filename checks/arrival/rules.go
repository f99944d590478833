package arrival

import (
	"loadline/checks"
)

// The rules of the checks after arrival.
var (
	missingObject = &checks.Rule{
		ID: "missing-object", Level: checks.Fail,
		When:   "no object has the key of this file",
		Fix:    "Do not erase the disk. Ask the store why the file is missing, or upload it yourself.",
		Source: "the manifest, made when the copy was proven",
	}
	objectSize = &checks.Rule{
		ID: "object-size", Level: checks.Fail,
		When:   "the object has another size than the file had",
		Fix:    "Do not erase the disk. Upload this file again.",
		Source: "the manifest, made when the copy was proven",
	}
	objectChecksum = &checks.Rule{
		ID: "object-checksum", Level: checks.Fail,
		When:   "the checksum of the object is not that of the file",
		Fix:    "Do not erase the disk. Upload this file again.",
		Source: "FIPS 180-4 (SHA-256, SHA-1), RFC 1321 (MD5), RFC 3720 appendix B.4 (CRC-32C), RFC 1952 (CRC-32), NVM Express (CRC-64, from memory); for objects in parts common practice, no source",
	}
	listedTwice = &checks.Rule{
		ID: "listed-twice", Level: checks.Fail,
		When:   "the listings name one key twice and do not agree on it",
		Fix:    "List the present versions of the objects only, then check again.",
		Source: "common practice, no source",
	}
	noChecksums = &checks.Rule{
		ID: "no-checksums", Level: checks.Warn,
		When:   "the listing holds no checksums: only names and sizes were compared",
		Fix:    "Ask the store for a listing with checksums (SHA-256, MD5 or a CRC), or fetch the objects back and recheck them.",
		Source: "common practice, no source",
	}
	notComparable = &checks.Rule{
		ID: "checksum-not-comparable", Level: checks.Warn,
		When:   "the checksum in the listing could not be compared: it is one of the checksums of parts, or of a kind that is not known",
		Fix:    "Check again with the disk (-source), which proves objects in parts; or ask the store for SHA-256, MD5 or CRC-32C of whole objects; or fetch these objects back and recheck them.",
		Source: "common practice, no source",
	}
	diskDiffers = &checks.Rule{
		ID: "disk-differs", Level: checks.Warn,
		When:   "the disk no longer holds this file as the manifest has it, so it cannot prove the object",
		Fix:    "Keep the disk and look at this file. The object may be the better copy: fetch it back and recheck it.",
		Source: "the manifest, made when the copy was proven",
	}
	listingOlder = &checks.Rule{
		ID: "listing-older", Level: checks.Warn,
		When:   "every object of the archive is dated before the manifest was made, so the listing may be from before the arrival",
		Fix:    "List the objects again, now. If the dates are those of the files and not of the objects, leave the column out: -columns ignore=COLUMN.",
		Source: "the manifest, made when the copy was proven",
	}
	notCovered = &checks.Rule{
		ID: "not-covered", Level: checks.Warn,
		When:   "the source held links or special files, which do not become objects, or files that were left off the copy list",
		Fix:    "Make sure that what the links point to, and what was left off, is safe elsewhere before you erase the disk.",
		Source: "symlink(7)",
	}
	extraObject = &checks.Rule{
		ID: "extra-object", Level: checks.Note,
		When:   "an object has a key that belongs to no file of the manifest",
		Fix:    "Nothing to do for the archive. Check whether the object belongs there.",
		Source: "the manifest, made when the copy was proven",
	}
	shiftedPrefix = &checks.Rule{
		ID: "shifted-prefix", Level: checks.Warn,
		When:   "the keys begin with other folders than the copy on the share had",
		Fix:    "The files are there under other keys than planned. Note the new keys before you erase the disk.",
		Source: "the prefix in the head of the manifest",
	}
	twoToOneKey = &checks.Rule{
		ID: "two-to-one-key", Level: checks.Fail,
		When:   "two files became one object, since their names differ in case or normal form only",
		Fix:    "Do not erase the disk. Rename one of the two and upload it again.",
		Source: "UAX #15; Unicode CaseFolding (The Unicode Standard, section 3.13, D145)",
	}
	keyFormDiffers = &checks.Rule{
		ID: "key-form-differs", Level: checks.Warn,
		When:   "the key is spelled in another normal form or case than the name of the file",
		Fix:    "The file is there. Whoever looks for it by name must use the key as it is.",
		Source: "UAX #15; Unicode CaseFolding (The Unicode Standard, section 3.13, D145)",
	}
)

var objectsCheck = checks.Check{
	ID: "objects", Title: "Every file is an object", Group: checks.GroupArrival,
	Doc: "Compares the listing of the store with the manifest that was made when the copy was proven: " +
		"every file must be an object of its size, and of its checksum where the listing holds one. " +
		"The checksums that a listing gives for objects sent in parts are made again from the disk, if you give it.",
	Fix:   "Keep the disk. Upload the files that are missing or differ, list the objects again, and check again.",
	Rules: []*checks.Rule{missingObject, objectSize, objectChecksum, listedTwice, noChecksums, notComparable, diskDiffers, listingOlder, notCovered},
}

var keysCheck = checks.Check{
	ID: "keys", Title: "Every key is the name of its file", Group: checks.GroupArrival,
	Doc: "Checks whether the keys of the objects are the paths that the files had: shifted by a folder, " +
		"spelled in another form, or two files in one object.",
	Fix:   "Look up the keys before you erase the disk, so that every file can be found again.",
	Rules: []*checks.Rule{twoToOneKey, keyFormDiffers, shiftedPrefix, extraObject},
}
