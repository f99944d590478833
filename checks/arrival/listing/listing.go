// Package listing reads lists of objects as stores and their clients write them: tables with and without
// a header, JSON of any nesting, XML, checksum lines and columns of text, plain or compressed. It streams:
// memory is bounded by one record and the pages, whatever it is given.
//
// It judges the listing only: whether it is one, whether it is whole, what its rows say. What the rows mean
// for an archive is up to the caller.
package listing

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// A Row is one object of a listing, or the mark that one was deleted.
type Row struct {
	Key      []byte // as it stands in the listing; see Reading
	Size     int64  // bytes; -1 where the listing holds none
	Sums     []Digest
	Modified time.Time // zero where the listing holds none; taken as UTC where it names no zone
	At       int64     // the line or the record, from 1; see Format.Unit
	Deleted  bool      // no object, but the mark that the object of this key was deleted
}

// Clone returns a copy that outlives yield.
func (r *Row) Clone() Row {
	c := *r
	c.Key, c.Sums = bytes.Clone(r.Key), slices.Clone(r.Sums)
	return c
}

// Contradiction says in what two rows of one key cannot both be true: "" if in nothing. Checksums of
// different kinds, and tags of different numbers of parts, do not contradict each other.
func Contradiction(a, b *Row) string {
	switch {
	case a.Deleted != b.Deleted:
		return "one says that it was deleted"
	case a.Size >= 0 && b.Size >= 0 && a.Size != b.Size:
		return fmt.Sprintf("%d bytes and %d bytes", a.Size, b.Size)
	}
	for i := range a.Sums {
		for j := range b.Sums {
			x, y := &a.Sums[i], &b.Sums[j]
			if x.Kind == y.Kind && x.Kind.Size() > 0 && x.Parts == y.Parts && !x.sameAs(y) {
				return fmt.Sprintf("%s %s and %s", x.Kind, x, y)
			}
		}
	}
	return ""
}

// Options are the wishes of a caller; the zero value is useful.
type Options struct {
	// Columns are the person's own choice of columns or fields; see ParseColumns.
	Columns Columns
	// Names are the columns' names as a schema file gives them. Only a table without a header of its own
	// and with as many columns follows them.
	Names []string
	// NamesFrom says where Names come from, for the description.
	NamesFrom string
	// Progress is called now and then with the bytes read so far, before decompression.
	Progress func(bytes int64)
}

// ErrListing wraps every reason why a listing cannot be used.
var ErrListing = errors.New("cannot use the listing")

// Kind of file that was given in place of a listing.
type What string

// What a file can be, other than a listing.
const (
	Unknown      What = ""
	Manifest     What = "manifest"      // Loadline's own: it would prove everything by itself
	LoadlineJSON What = "loadline-json" // a report or a plan of Loadline's
	NamesOnly    What = "names-only"    // a copy list, or any list without sizes and checksums
	Schema       What = "schema"        // names the columns and files of a listing, but is none
	Binary       What = "binary"        // a known format that this package does not read
	WebPage      What = "web-page"
	Empty        What = "empty"
)

// An Error says why a listing cannot be used, where, and what to do. It wraps ErrListing.
type Error struct {
	File string // "" for a reader
	Unit string // "line" or "record"; "" where the whole file is meant
	At   int64
	Err  error
	Hint string // what to do; may be empty
	Is   What   // what was given in place of a listing
}

// Error gives all but the hint.
func (e *Error) Error() string {
	s := ErrListing.Error() + ": "
	if e.File != "" {
		s = names.Quote(e.File) + ": " + s
	}
	if e.Unit != "" {
		s += fmt.Sprintf("%s %d: ", e.Unit, e.At)
	}
	return s + e.Err.Error()
}

// Unwrap returns ErrListing and the cause.
func (e *Error) Unwrap() []error { return []error{ErrListing, e.Err} }

// refuse makes an Error of the whole file.
func refuse(is What, hint, format string, args ...any) *Error {
	return &Error{Is: is, Hint: hint, Err: fmt.Errorf(format, args...)}
}

// readFile opens a listing and reads it; see read.
func readFile(ctx context.Context, path string, o Options, yield func(*Row) error) (*Format, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	format, err := read(ctx, f, o, yield)
	return format, inFile(err, path)
}

// inFile adds the file to an error.
func inFile(err error, path string) error {
	var e *Error
	if errors.As(err, &e) && e.File == "" {
		e.File = path
	}
	return err
}

// openFile refuses a folder, a pipe or a device before it is opened: a pipe would wait for its writer, and give its
// bytes only once.
func openFile(path string) (*os.File, error) {
	info, err := os.Stat(path)
	e := &Error{File: path}
	switch {
	case err != nil:
		e.Err = disk.WithoutPath(err)
		e.Hint = "Choose a file that can be read."
	case info.IsDir():
		e.Err = errors.New("it is a folder")
		e.Hint = "Choose the file or files in it."
	case !info.Mode().IsRegular():
		e.Err = errors.New("it is a pipe or a device, and a listing is read more than once")
		e.Hint = "Save it as a file first."
	default:
		f, err := os.Open(path)
		if err == nil {
			return f, nil
		}
		e.Err = disk.WithoutPath(err)
		e.Hint = "Choose a file that can be read."
	}
	return nil, e
}

// read reads a listing in any of the known shapes and passes every object and every mark of a deletion to
// yield, which must not keep the row. Folders, old versions and parts of unfinished uploads are passed over
// and counted in the Format. It refuses what is cut or damaged, and what has no key or no whole number where
// one must stand: the error is an *Error and names the line or record. An error of yield or of ctx ends it
// and is returned as it is.
//
// Whether the listing is whole is known only when all files of it were read: see Partial. The Format is also
// that of what holds no object.
func read(ctx context.Context, r io.Reader, o Options, yield func(*Row) error) (*Format, error) {
	rd, err := newReader(ctx, r, &o, yield)
	if err != nil {
		return nil, err
	}
	defer rd.in.close()
	if err := rd.read(); err != nil {
		return rd.format, err
	}
	f := rd.format
	if f.Objects+f.Deleted == 0 && !f.hasPages() {
		if f.Skipped[OldVersion] > 0 {
			return f, refuse(Empty, "List the present versions of the objects.", "it lists old versions only, and no object that is there now")
		}
		return f, refuse(Empty, "List the objects again, after they have arrived.", "it lists no object: it was cut off, or made before the objects arrived, or lists another folder")
	}
	return f, nil
}

func newReader(ctx context.Context, r io.Reader, o *Options, yield func(*Row) error) (*reader, error) {
	in, err := open(ctx, r, o.Progress)
	if err != nil {
		return nil, err
	}
	return &reader{ctx: ctx, in: in, o: o, yield: yield, format: &Format{
		Compression: in.compression, Unit: "line", Skipped: map[Reason]int64{},
	}}, nil
}

// errEnough ends an inspection.
var errEnough = errors.New("enough rows")

// inspect reads how a listing is written and its first rows, n at most, for a person to confirm before the
// whole is compared. Errors are those of readFile.
func inspect(ctx context.Context, path string, o Options, n int) (*Format, []Row, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	var rows []Row
	rd, err := newReader(ctx, f, &o, func(r *Row) error {
		if rows = append(rows, r.Clone()); len(rows) >= n {
			return errEnough
		}
		return nil
	})
	if err != nil {
		return nil, nil, inFile(err, path)
	}
	defer rd.in.close()
	if err := rd.read(); err != nil && !errors.Is(err, errEnough) {
		return nil, nil, inFile(err, path)
	}
	return rd.format, rows, nil
}

// A reader is one reading of one listing.
type reader struct {
	ctx    context.Context
	in     *input
	o      *Options
	format *Format
	yield  func(*Row) error
	row    Row
	at     int64  // line or record that is being read
	common bool   // format.CommonPrefix holds a value
	last   []byte // key of the last row
	used   int    // bytes that the pages take
}

// bad makes an Error of the present line or record.
func (rd *reader) bad(hint, format string, args ...any) error {
	return &Error{Unit: rd.format.Unit, At: rd.at, Hint: hint, Err: fmt.Errorf(format, args...)}
}

// broken says why reading itself failed.
func (rd *reader) broken(err error) error {
	switch {
	case rd.ctx.Err() != nil:
		return rd.ctx.Err()
	case errors.Is(err, io.ErrUnexpectedEOF):
		return rd.bad("Get the listing again; this copy of it is not whole.", "the file is cut off")
	case errors.Is(err, errTooLong):
		return rd.bad("Look at the file: this does not look like a list of objects.", "it is longer than %d bytes", longest)
	}
	return rd.bad("Get the listing again.", "reading broke off: %w", disk.WithoutPath(err))
}

// deliver finishes a record: it passes the object on, or counts why it is none.
func (rd *reader) deliver(rec *record) error {
	f := rd.format
	reason, err := rec.finish(&rd.row)
	if err != nil {
		return rd.bad("", "%w", err)
	}
	if reason != isObject {
		f.Skipped[reason]++
		return nil
	}
	row := &rd.row
	row.At = rd.at
	rd.last = append(rd.last[:0], row.Key...)
	if row.Deleted {
		f.Deleted++
		return rd.yield(row)
	}
	f.Objects++
	if row.Size >= 0 {
		f.Bytes += min(row.Size, math.MaxInt64-f.Bytes)
	}
	if !row.Modified.IsZero() {
		if f.Oldest.IsZero() || row.Modified.Before(f.Oldest) {
			f.Oldest = row.Modified
		}
		if row.Modified.After(f.Newest) {
			f.Newest = row.Modified
		}
	}
	if !rd.common {
		rd.common = true
		f.CommonPrefix = string(row.Key)
	} else if n := commonLen(f.CommonPrefix, row.Key); n < len(f.CommonPrefix) {
		f.CommonPrefix = f.CommonPrefix[:n]
	}
	return rd.yield(row)
}

func commonLen(a string, b []byte) int {
	n := min(len(a), len(b))
	if string(b[:n]) == a[:n] {
		return n
	}
	for i := range n {
		if a[i] != b[i] {
			return i
		}
	}
	return n
}

// read finds the shape and reads on in it.
func (rd *reader) read() error {
	if err := rd.in.sniff(); err != nil {
		var e *Error
		if errors.As(err, &e) {
			return err
		}
		rd.at = 1
		return rd.broken(err)
	}
	rd.format.Encoding = rd.in.encoding
	sample := bytes.TrimLeft(rd.in.sample, " \t\r\n")
	if len(sample) == 0 {
		if rd.in.sampleErr != nil && !errors.Is(rd.in.sampleErr, io.EOF) {
			rd.at = 1
			return rd.broken(rd.in.sampleErr)
		}
		return refuse(Empty, "List the objects again.", "it is empty")
	}
	switch {
	case bytes.HasPrefix(sample, []byte(manifestFirst)):
		return refuse(Manifest, "Give the manifest first, then a list of the objects that the store made.", "it is a manifest from the check after copying, not a listing")
	case sample[0] == '{', sample[0] == '[' && !datedBracket(sample):
		return rd.readJSON()
	case sample[0] == '<':
		return rd.readXML()
	case sumListed(firstLine(sample)):
		return rd.readSums()
	}
	return rd.readText()
}

// manifestFirst is how a manifest begins, and manifestFacts how its lines of facts do.
const (
	manifestFirst = "# Loadline manifest "
	manifestFacts = "# size="
)

func firstLine(s []byte) []byte {
	line, _, _ := bytes.Cut(s, []byte{'\n'})
	return bytes.TrimSuffix(line, []byte{'\r'})
}

// quote shows hostile text in an error: escaped, and cut where it is long.
func quote(s string) string {
	const most = 80
	if len(s) > most {
		return names.Quote(string(bytes.ToValidUTF8([]byte(s[:most]), nil))) + "…"
	}
	return names.Quote(s)
}
