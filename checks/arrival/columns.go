package arrival

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"loadline/checks/names"
)

// Columns say which columns of a listing are read as what. They are matched loosely, so they are
// shown for confirmation.
type Columns struct {
	Names []string // as the header has them
	Key   int      // index of the key; -1 where none was found
	Size  int      // index of the size; -1 where there is none
	Sums  []SumColumn
	// Presence are the columns of a list of versions that tell which ones are there now.
	Presence []PresenceColumn
}

// A PresenceColumn tells whether a row is of an object that is there now. A version that was replaced or
// deleted proves nothing.
type PresenceColumn struct {
	Index   int
	Deleted bool // it says that the object is deleted, not that it is the latest version
}

// presence is what the columns of a row say of its object.
type presence uint8

const (
	unsaid  presence = iota // nothing, as in lists of stores that keep no versions
	latest                  // it is the latest version
	old                     // it is a version that was replaced or deleted
	deleted                 // it is the mark of a deletion: older versions of its key are no objects any more
)

// read reads a value.
func (p *PresenceColumn) read(value string) (presence, error) {
	yes, no := latest, old
	if p.Deleted {
		yes, no = deleted, unsaid
	}
	switch value = strings.ToLower(strings.TrimSpace(value)); value {
	case "", "-", "null":
		return unsaid, nil
	case "true", "yes", "y", "1":
		return yes, nil
	case "false", "no", "n", "0":
		return no, nil
	}
	if p.Deleted {
		return old, nil // the time since when this version is no more
	}
	return unsaid, fmt.Errorf("%s is neither true nor false", names.QuoteShort(value))
}

// presence returns what all columns together say: a deletion that was itself replaced is an old version.
func (c *Columns) presence(fields []string) (presence, error) {
	said := unsaid
	for _, p := range c.Presence {
		is, err := p.read(fields[p.Index])
		if err != nil {
			return unsaid, fmt.Errorf("%s: %w", names.QuoteShort(c.Names[p.Index]), err)
		}
		if is == old || said == old {
			said = old
		} else {
			said = max(said, is)
		}
	}
	return said, nil
}

// A SumColumn is a column that holds checksums.
type SumColumn struct {
	Index int
	Kind  Kind // what the column says; NoSum where only the value tells
	// Tag marks a column of entity tags: MD5 for plain objects, but not for those that were sent
	// in parts or encrypted with a key of their own (common practice, no source).
	Tag bool
}

// Names of columns as squeeze leaves them, best first (common practice, no source).
var (
	keyColumns  = []string{"key", "objectkey", "objectname", "objectpath", "object", "path", "name", "filename", "file", "filepath"}
	sizeColumns = []string{"size", "sizebytes", "sizeinbytes", "bytes", "objectsize", "contentlength", "length", "filesize"}
	anySums     = []string{"checksum", "hash", "digest", "checksumvalue", "contentchecksum", "contenthash"}
	tagColumns  = []string{"etag", "tag", "entitytag"}

	latestColumns  = []string{"islatest", "latest", "latestversion", "islatestversion", "iscurrent", "current", "currentversion", "iscurrentversion"}
	deletedColumns = []string{"isdeletemarker", "deletemarker", "isdeleted", "deleted", "timedeleted", "deletedtime", "deletedat", "deletedon", "deletiontime", "deletetime"}
)

// squeeze makes the name of a column comparable: lower case, letters and digits only.
func squeeze(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return -1
	}, name)
}

// columnKind returns what kind of checksum a squeezed column name speaks of.
func columnKind(name string) Kind {
	for _, affix := range []string{"checksum", "content", "hash", "digest", "base64", "hex", "object"} {
		name = strings.ReplaceAll(name, affix, "")
	}
	switch name {
	case "sha256", "sha2256":
		return SHA256
	case "md5", "md5sum":
		return MD5
	case "crc32c":
		return CRC32C
	case "sha1", "sha512", "crc32", "crc64", "crc64nvme", "crc64ecma", "blake3", "xxh64", "xxh128":
		return OtherSum
	}
	return NoSum
}

// MatchColumns finds the columns of a header. wish overrides: it maps key, size, sha256, md5, crc32c
// and checksum to the name of a column. The error says which columns there are.
func MatchColumns(header []string, wish map[string]string) (*Columns, error) {
	c := &Columns{Names: slices.Clone(header), Key: -1, Size: -1}
	squeezed := make([]string, len(header))
	for i, n := range header {
		squeezed[i] = squeeze(n)
	}
	find := func(want []string) int {
		for _, w := range want {
			if i := slices.Index(squeezed, w); i >= 0 {
				return i
			}
		}
		return -1
	}
	c.Key, c.Size = find(keyColumns), find(sizeColumns)
	for i, n := range squeezed {
		switch k := columnKind(n); {
		case k != NoSum:
			c.Sums = append(c.Sums, SumColumn{Index: i, Kind: k})
		case slices.Contains(tagColumns, n):
			c.Sums = append(c.Sums, SumColumn{Index: i, Tag: true})
		case slices.Contains(anySums, n):
			c.Sums = append(c.Sums, SumColumn{Index: i})
		case slices.Contains(latestColumns, n):
			c.Presence = append(c.Presence, PresenceColumn{Index: i})
		case slices.Contains(deletedColumns, n):
			c.Presence = append(c.Presence, PresenceColumn{Index: i, Deleted: true})
		}
	}
	for what, name := range wish {
		i := slices.IndexFunc(header, func(h string) bool { return strings.EqualFold(h, name) })
		if i < 0 {
			return nil, fmt.Errorf("there is no column %s; the columns are: %s", names.QuoteShort(name), showColumns(header))
		}
		switch what {
		case "key":
			c.Key = i
		case "size":
			c.Size = i
		default:
			c.Sums = slices.DeleteFunc(c.Sums, func(s SumColumn) bool { return s.Index == i })
			c.Sums = append(c.Sums, SumColumn{Index: i, Kind: columnKind(what)})
		}
	}
	switch {
	case c.Key < 0:
		return nil, fmt.Errorf("no column holds the key; the columns are: %s", showColumns(header))
	case c.Size < 0 && len(c.Sums) == 0:
		return nil, fmt.Errorf("no column holds a size or a checksum, so nothing but names could be compared; the columns are: %s", showColumns(header))
	case c.Key == c.Size:
		return nil, errors.New("the key and the size cannot be one column")
	}
	return c, nil
}

// String says in one line what is read as what, for confirmation.
func (c *Columns) String() string {
	parts := []string{"key from " + names.QuoteShort(c.Names[c.Key])}
	if c.Size >= 0 {
		parts = append(parts, "size from "+names.QuoteShort(c.Names[c.Size]))
	} else {
		parts = append(parts, "no size")
	}
	for _, s := range c.Sums {
		what := "checksum"
		switch {
		case s.Kind != NoSum:
			what = s.Kind.String()
		case s.Tag:
			what = "tag"
		}
		parts = append(parts, what+" from "+names.QuoteShort(c.Names[s.Index]))
	}
	if len(c.Sums) == 0 {
		parts = append(parts, "no checksum")
	}
	for _, p := range c.Presence {
		parts = append(parts, "presence from "+names.QuoteShort(c.Names[p.Index]))
	}
	return strings.Join(parts, ", ")
}

// ParseWish reads "key=NAME,size=NAME,md5=NAME" as a wish for MatchColumns.
func ParseWish(s string) (map[string]string, error) {
	if s == "" {
		return nil, nil
	}
	wish := map[string]string{}
	for part := range strings.SplitSeq(s, ",") {
		what, name, ok := strings.Cut(part, "=")
		switch what = strings.TrimSpace(what); what {
		case "key", "size", "sha256", "md5", "crc32c", "checksum":
		default:
			ok = false
		}
		if name = strings.TrimSpace(name); !ok || name == "" {
			return nil, fmt.Errorf("%s: write key=NAME, size=NAME, sha256=NAME, md5=NAME, crc32c=NAME or checksum=NAME, with commas between", names.QuoteShort(part))
		}
		wish[what] = name
	}
	return wish, nil
}

func showColumns(header []string) string {
	shown := make([]string, 0, len(header))
	for _, h := range header[:min(len(header), 20)] {
		shown = append(shown, names.QuoteShort(h))
	}
	return strings.Join(shown, ", ")
}
