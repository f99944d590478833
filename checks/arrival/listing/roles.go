package listing

import (
	"fmt"
	"slices"
	"strings"
)

// Role is what a column or field is read as.
type Role string

// The roles.
const (
	RoleNone     Role = ""
	RoleIgnore   Role = "ignored" // the person says that it does not matter
	RoleKey      Role = "key"
	RoleSize     Role = "size"
	RoleSum      Role = "checksum"
	RoleTag      Role = "tag" // MD5 for plain objects, but not for those sent in parts or encrypted (common practice, no source)
	RoleModified Role = "date"
	RoleLatest   Role = "latest"  // whether it is the present version
	RoleDeleted  Role = "deleted" // whether it is the mark of a deletion, or since when the version is gone

	roleSnapshot  Role = "snapshot"  // the time of an old state
	roleFolder    Role = "folder"    // whether it is a folder
	roleType      Role = "type"      // folder or file
	roleUpload    Role = "upload"    // id of an unfinished upload, or number of a part
	roleAlgorithm Role = "algorithm" // kind of the checksum
	roleSumType   Role = "sumtype"   // of the content or of parts

	roleTruncated Role = "truncated" // of a page: more follows
	roleNext      Role = "next"      // of a page: where the next begins
	roleStart     Role = "start"     // of a page: where it begins
	rolePrefix    Role = "prefix"    // of a page: what all its keys begin with
	roleUnopened  Role = "unopened"  // a folder that is named but not opened
)

// A field is what a name means. Of several names for one role in a record, that of the lowest rank counts.
type field struct {
	name string // as it stands
	role Role
	kind Kind
	rank int
	// What stands below this name: marks of deletions, folders that were not opened.
	marksDeleted, unopened bool
}

// Names of columns and fields as squeeze leaves them, best first (common practice, no source).
var fieldNames = map[Role][]string{
	RoleKey: {
		"key", "objectkey", "objectname", "objectpath", "object", "path", "fullpath", "filepath", "name", "filename", "file",
		"keyname", "pathname", "href", "url", "uri",
	},
	RoleSize: {
		"size", "sizebytes", "sizeinbytes", "bytes", "objectsize", "objectsizebytes", "contentlength", "getcontentlength",
		"length", "filesize", "bytesize", "sizeb",
	},
	RoleSum: {"checksum", "hash", "digest", "checksumvalue", "contentchecksum", "contenthash", "filehash", "hashvalue"},
	RoleTag: {"etag", "tag", "entitytag", "getetag"},
	RoleModified: {
		"lastmodified", "lastmodifieddate", "lastmodifiedtime", "modified", "modifiedtime", "modtime", "mtime", "updated",
		"timemodified", "modificationtime", "getlastmodified", "timecreated", "created", "creationtime", "date", "uploaded", "time",
	},
	RoleLatest: {"islatest", "latest", "latestversion", "islatestversion", "iscurrent", "current", "currentversion", "iscurrentversion"},
	RoleDeleted: {
		"isdeletemarker", "deletemarker", "isdeleted", "deleted", "timedeleted", "deletedtime", "deletedat", "deletedon",
		"deletiontime", "deletetime", "noncurrenttime", "noncurrentsince",
	},
	roleSnapshot:  {"snapshot"},
	roleFolder:    {"isdir", "isdirectory", "isfolder", "iscollection", "directory", "folder"},
	roleType:      {"type", "objecttype", "entrytype", "itemtype", "kind"},
	roleUpload:    {"uploadid", "partnumber"},
	roleAlgorithm: {"checksumalgorithm", "hashalgorithm", "algorithm", "hashtype", "checksummethod"},
	roleSumType:   {"checksumtype"},
	roleTruncated: {"istruncated", "truncated", "hasmore", "more", "incomplete", "hasnext", "hasnextpage"},
	roleNext: {
		"nextmarker", "nextkeymarker", "nextcontinuationtoken", "nexttoken", "nextpagetoken", "nextpage", "nextcursor", "next",
		"nextlink", "nextstartafter", "nextstartwith", "nextstartfilename", "nextfilename",
	},
	roleStart:    {"marker", "keymarker", "continuationtoken", "startafter", "pagetoken", "starttoken", "startwith"},
	rolePrefix:   {"prefix"},
	roleUnopened: {"subdir"},
}

// fieldOf holds every known name.
var fieldOf = func() map[string]field {
	all := map[string]field{}
	for role, list := range fieldNames {
		for rank, name := range list {
			all[name] = field{role: role, rank: rank + 1} // rank 0 is the person's choice
		}
	}
	return all
}()

// squeeze makes a name comparable: lower case, letters and digits only.
func squeeze(name []byte) string {
	out := make([]byte, 0, len(name))
	for _, c := range name {
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			out = append(out, c)
		case c >= 'A' && c <= 'Z':
			out = append(out, c+'a'-'A')
		}
	}
	return string(out)
}

// kinds are the names of checksums within a squeezed name, those that hold others first.
var kinds = []struct {
	name string
	kind Kind
}{
	{"sha2256", SHA256},
	{"sha256", SHA256},
	{"sha512", OtherSum},
	{"sha384", OtherSum},
	{"sha224", OtherSum},
	{"sha1", SHA1},
	{"md5", MD5},
	{"crc64nvme", CRC64NVME},
	{"crc64ecma", OtherSum},
	{"crc64", OtherSum}, // there are several, and this does not say which
	{"crc32c", CRC32C},
	{"crc32", CRC32},
	{"blake2b", OtherSum},
	{"blake3", OtherSum},
	{"xxh64", OtherSum},
	{"xxh128", OtherSum},
	{"xxh3", OtherSum},
}

// kindNamed returns what kind of checksum a squeezed name speaks of: "sha256", "contentmd5", and whatever
// says checksum, hash or digest beside the kind.
func kindNamed(name string) Kind {
	for _, k := range kinds {
		before, after, ok := strings.Cut(name, k.name)
		if !ok {
			continue
		}
		rest := before + after
		for _, says := range []string{"checksum", "hash", "digest"} {
			if strings.Contains(rest, says) {
				return k.kind
			}
		}
		for _, affix := range []string{"content", "base64", "hex", "object", "sum", "value", "file"} {
			rest = strings.ReplaceAll(rest, affix, "")
		}
		if rest == "" {
			return k.kind
		}
		return NoSum
	}
	return NoSum
}

// meaning returns what a name means.
func meaning(name []byte) field {
	s := squeeze(name)
	f := fieldOf[s]
	if f.role == RoleNone {
		if k := kindNamed(s); k != NoSum {
			f = field{role: RoleSum, kind: k, rank: 1}
		}
	}
	f.name = string(name)
	return f
}

// A Choice is a person's word on one column or field.
type Choice struct {
	Role   Role
	Kind   Kind   // of a checksum
	Column string // its name, or its number from 1
}

// Columns are a person's choices.
type Columns []Choice

// choices are what can be chosen, by the word for it.
var choices = map[string]Choice{
	"key": {Role: RoleKey}, "size": {Role: RoleSize}, "tag": {Role: RoleTag}, "checksum": {Role: RoleSum},
	"sha256": {Role: RoleSum, Kind: SHA256}, "sha1": {Role: RoleSum, Kind: SHA1}, "md5": {Role: RoleSum, Kind: MD5},
	"crc32": {Role: RoleSum, Kind: CRC32}, "crc32c": {Role: RoleSum, Kind: CRC32C}, "crc64nvme": {Role: RoleSum, Kind: CRC64NVME},
	"modified": {Role: RoleModified}, "latest": {Role: RoleLatest}, "deleted": {Role: RoleDeleted}, "ignore": {Role: RoleIgnore},
}

// ParseColumns reads "key=2,size=3,tag=5" or "key=Name,size=Bytes": what, and the name or number of the
// column that holds it. Whatever is chosen twice, the ignored aside, is an error.
func ParseColumns(s string) (Columns, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	var all Columns
	words := map[string]bool{}
	for part := range strings.SplitSeq(s, ",") {
		word, column, ok := strings.Cut(part, "=")
		word, column = strings.ToLower(strings.TrimSpace(word)), strings.TrimSpace(column)
		c, known := choices[word]
		if !ok || !known || column == "" {
			return nil, fmt.Errorf("%s: write what and where, as in key=2,size=3,tag=5; what can be key, size, tag, checksum, sha256, sha1, md5, crc32, crc32c, crc64nvme, modified, latest, deleted or ignore", quote(part))
		}
		if words[word] && c.Role != RoleIgnore {
			return nil, fmt.Errorf("%s is chosen twice", word)
		}
		words[word] = true
		c.Column = column
		if at := slices.IndexFunc(all, func(o Choice) bool { return strings.EqualFold(o.Column, column) }); at >= 0 {
			return nil, fmt.Errorf("column %s is chosen twice", quote(column))
		}
		all = append(all, c)
	}
	return all, nil
}

// String writes the choices as ParseColumns reads them.
func (c Columns) String() string {
	parts := make([]string, 0, len(c))
	for _, one := range c {
		for word, o := range choices {
			if o.Role == one.Role && o.Kind == one.Kind {
				parts = append(parts, word+"="+one.Column)
			}
		}
	}
	return strings.Join(parts, ",")
}

// of returns the choice for a name, which may be written with the names around it: "metadata.size".
func (c Columns) of(name string) (field, bool) {
	for _, one := range c {
		if strings.EqualFold(one.Column, name) {
			return field{name: name, role: one.Role, kind: one.Kind}, true
		}
	}
	return field{}, false
}

// has reports whether a role was chosen.
func (c Columns) has(r Role) bool {
	return slices.ContainsFunc(c, func(o Choice) bool { return o.Role == r })
}
