package listing

import (
	"strings"
	"time"
)

// Shape is how a listing is written.
type Shape string

// The shapes.
const (
	Table     Shape = "table"
	JSONLines Shape = "JSON lines"
	JSON      Shape = "JSON"
	XML       Shape = "XML"
	Checksums Shape = "checksum lines"
	Aligned   Shape = "columns of text"
)

// Reason is why a record of a listing is no object.
type Reason string

const isObject Reason = ""

// The reasons.
const (
	OldVersion Reason = "old version"               // replaced or deleted: it proves nothing
	Folder     Reason = "folder"                    // the marker object or the entry of a folder
	Upload     Reason = "part of unfinished upload" // no object until the upload is finished
	Unreadable Reason = "key that is no text"       // its characters are damaged; it matches no file
)

// A Column is one column of a table, or one field of the records.
type Column struct {
	Name string // as the listing has it; "column 3" where it has none
	Role Role   // what it is read as
	Kind Kind   // of a checksum; NoSum where only the value tells
}

// Format says how a listing was understood, and what it holds.
type Format struct {
	Shape       Shape
	Compression string // "gzip", "zstd" or ""
	Encoding    string // "UTF-8", "UTF-16LE", "UTF-16BE"
	Delimiter   byte   // of a table
	Unit        string // what Row.At counts: "line" or "record"
	// Header says where the names of columns come from: "header", the name of a schema file, or "" where
	// there are none.
	Header string
	// Guessed says that columns were told by what they hold, not by their names: a person must confirm.
	Guessed bool
	Columns []Column
	// First are the first rows of a table as they stand, header included, at most ten, long fields cut.
	First [][]string

	Objects int64            // rows that were passed on as objects
	Deleted int64            // rows that were passed on as marks of a deletion
	Skipped map[Reason]int64 // records that are no objects
	Bytes   int64            // sizes of the objects that have one, added up

	Oldest, Newest time.Time // dates of objects; zero where the listing holds none
	CommonPrefix   string    // what all keys begin with, as they stand
	// Folded are folders that the listing names but does not open, a thousand at most; FoldedCount is how
	// many there are.
	Folded      []string
	FoldedCount int64
	Pages       []Page
	unnamed     []unnamed // columns of true and false that nobody has named, of a table
	relative    bool      // Folded are named from the folder that was listed, whichever it is
}

func (f *Format) hasPages() bool {
	for i := range f.Pages {
		if f.Pages[i].marked() {
			return true
		}
	}
	return f.FoldedCount > 0
}

// String describes the format and its columns in one line.
func (f *Format) String() string {
	s := string(f.Shape)
	if f.Shape == Table {
		s += map[byte]string{',': " with commas", ';': " with semicolons", '\t': " with tabs", '|': " with bars"}[f.Delimiter]
		switch f.Header {
		case "":
			s += ", no header"
		case "header":
		default:
			s += ", columns as in " + quote(f.Header)
		}
	}
	if f.Compression != "" {
		s += ", " + f.Compression
	}
	if f.Encoding != "UTF-8" && f.Encoding != "" {
		s += ", " + f.Encoding
	}
	if len(f.Columns) == 0 {
		return s
	}
	var parts []string
	sums := false
	sized := false
	for _, c := range f.Columns {
		what := ""
		switch c.Role {
		case RoleNone, RoleIgnore:
			continue
		case RoleSum:
			what, sums = "checksum", true
			if c.Kind != NoSum {
				what = c.Kind.String()
			}
		case RoleTag:
			what, sums = "tag", true
		case RoleSize:
			what, sized = "size", true
		default:
			what = string(c.Role)
		}
		parts = append(parts, what+" from "+quote(c.Name))
	}
	if !sized {
		parts = append(parts, "no size")
	}
	if !sums {
		parts = append(parts, "no checksum")
	}
	return s + ": " + strings.Join(parts, ", ")
}
