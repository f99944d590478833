package arrival

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"loadline/checks/manifest"
	"loadline/checks/names"
)

// A Row is one object of a listing.
type Row struct {
	Key  string
	Size int64 // bytes; -1 where the listing holds none
	Sums []Digest
	Line int // first line of the row
	// Deleted says that the row is no object, but the mark that the object of this key was deleted.
	Deleted bool
}

// Format is how a listing is written.
type Format struct {
	Name    string   // "CSV", "TSV", "JSON lines", "checksum list"
	Gzip    bool     // it was compressed
	Columns *Columns // nil for a checksum list
	Old     int64    // rows of versions that are no objects any more, passed over
}

// String describes the format and its columns in one line.
func (f *Format) String() string {
	s := f.Name
	if f.Gzip {
		s += ", gzip"
	}
	if f.Columns != nil {
		s += ": " + f.Columns.String()
	}
	return s
}

// ErrListing wraps every reason why a listing cannot be read. The text names the file and the line.
var ErrListing = errors.New("cannot use the listing")

// ReadListingFile opens a listing and passes every row to yield; see ReadListing.
func ReadListingFile(ctx context.Context, path string, wish map[string]string, yield func(*Row) error) (*Format, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrListing, err)
	}
	defer f.Close()
	format, err := ReadListing(ctx, f, wish, yield)
	if errors.Is(err, ErrListing) {
		err = fmt.Errorf("%s: %w", names.Quote(path), err)
	}
	return format, err
}

// openFile opens a file to be read. A folder, a pipe or a device is refused before it is opened: a pipe
// would wait for its writer, and give its bytes only once.
func openFile(path string) (*os.File, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case info.IsDir():
		return nil, fmt.Errorf("%s is a folder; choose the file itself", names.Quote(path))
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is a pipe or a device; it is read more than once, so save it as a file first", names.Quote(path))
	}
	return os.Open(path)
}

// Inspect reads how a listing is written and its first rows, n at most: for a person to confirm before
// the whole is compared. Errors are those of ReadListing.
func Inspect(ctx context.Context, path string, wish map[string]string, n int) (*Format, []Row, error) {
	var rows []Row
	format, err := ReadListingFile(ctx, path, wish, func(r *Row) error {
		held := *r
		held.Sums = slices.Clone(r.Sums)
		if rows = append(rows, held); len(rows) >= n {
			return errEnough
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return nil, nil, err
	}
	return format, rows, nil
}

var errEnough = errors.New("enough rows")

// ReadListing reads a listing of objects, in whatever of the known forms it is, and passes every row
// to yield, which must not keep it. It reads a row at a time. It refuses what is cut, has rows of
// unequal length, or has no key or no number where one must stand: the error wraps ErrListing and
// names the line. An error of yield ends it and is returned as it is.
func ReadListing(ctx context.Context, r io.Reader, wish map[string]string, yield func(*Row) error) (*Format, error) {
	in := bufio.NewReaderSize(r, 1<<16)
	format := &Format{}
	if magic, _ := in.Peek(2); len(magic) == 2 && magic[0] == 0x1f && magic[1] == 0x8b { // RFC 1952 §2.3.1
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, fmt.Errorf("%w: its gzip head is damaged: %w", ErrListing, err)
		}
		format.Gzip = true
		in = bufio.NewReaderSize(z, 1<<16)
	}
	head, err := in.Peek(4)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, (&lines{n: 1}).broken(err)
	}
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}): // a byte order mark, RFC 3629 §6
		_, _ = in.Discard(3) // they were peeked at
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}), bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return nil, fmt.Errorf("%w: line 1: it is UTF-16 text; save it as UTF-8", ErrListing)
	}
	l := &lines{in: in, ctx: ctx}
	err = readRows(l, format, wish, yield)
	switch {
	case err != nil || l.rows > 0:
	case format.Old > 0:
		err = fmt.Errorf("%w: it lists old versions only, and no object that is there now", ErrListing)
	default:
		err = fmt.Errorf("%w: it lists no object; was it cut off, or made before the objects arrived?", ErrListing)
	}
	return format, err
}

func readRows(l *lines, format *Format, wish map[string]string, yield func(*Row) error) error {
	first, err := l.next()
	for err == nil && len(bytes.TrimSpace(first)) == 0 {
		first, err = l.next()
	}
	if errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: it is empty", ErrListing)
	}
	if err != nil {
		return err
	}
	switch {
	case manifest.Begins(first):
		// It holds every checksum: taken for a listing it would prove everything by itself.
		return l.bad("it is a manifest of the check after copying and no listing; give a list of the objects, made by the store")
	case first[0] == '{':
		format.Name = "JSON lines"
		return readJSON(l, first, format, wish, yield)
	case first[0] == '[':
		return l.bad("it is a JSON array; write one object a line instead")
	case sumListed(first):
		format.Name = "checksum list"
		return readSums(l, first, yield)
	}
	return readTable(l, first, format, wish, yield)
}

// longestRow bounds the memory of one line, bytes.
const longestRow = 1 << 20

// lines hands out the lines of a listing.
type lines struct {
	in   *bufio.Reader
	ctx  context.Context
	n    int // number of the line that was handed out last
	rows int64
	held []byte
	ends bool // the last line ended with LF
}

// next returns the next line without its LF; io.EOF after the last one.
func (l *lines) next() ([]byte, error) {
	if l.n%1024 == 0 && l.ctx.Err() != nil {
		return nil, l.ctx.Err()
	}
	l.held = l.held[:0]
	l.ends = false
	for {
		part, err := l.in.ReadSlice('\n')
		l.held = append(l.held, part...)
		if len(l.held) > longestRow {
			l.n++
			return nil, l.bad("the line is longer than %d bytes", longestRow)
		}
		switch {
		case err == nil:
			l.n++
			l.ends = true
			return l.held[:len(l.held)-1], nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF) && len(l.held) > 0:
			l.n++
			return l.held, nil
		case errors.Is(err, io.EOF):
			return nil, io.EOF
		default:
			l.n++
			return nil, l.broken(err)
		}
	}
}

func (l *lines) bad(format string, args ...any) error {
	return fmt.Errorf("%w: line %d: %w", ErrListing, l.n, fmt.Errorf(format, args...))
}

// broken says why reading itself failed; a cut gzip file ends with io.ErrUnexpectedEOF.
func (l *lines) broken(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return l.bad("the file is cut off: %w", err)
	}
	return l.bad("reading broke off: %w", err)
}

// give passes a row on.
func (l *lines) give(row *Row, yield func(*Row) error) error {
	if row.Key == "" {
		return l.bad("the key is empty")
	}
	l.rows++
	return yield(row)
}

// sumListed reports whether a first line is that of a checksum list.
func sumListed(line []byte) bool {
	s, err := manifest.ParseSumLine(bytes.Clone(line))
	return err == nil && (len(s.Digest) == 64 || len(s.Digest) == 32)
}

// readSums reads lines of sha256sum or md5sum. Lines that begin with "#" are comments to both.
func readSums(l *lines, line []byte, yield func(*Row) error) error {
	var err error
	// An unescaped name does not end with CR (GNU coreutils): it belongs to the line end.
	crlf := bytes.HasSuffix(line, []byte{'\r'})
	for row := (Row{}); err == nil; line, err = l.next() {
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		if crlf {
			var ends bool
			if line, ends = bytes.CutSuffix(line, []byte{'\r'}); !ends {
				return l.bad("the first line ends with CR LF, this one does not: the listing is cut off or mixed")
			}
			if len(line) == 0 {
				continue
			}
		}
		s, bad := manifest.ParseSumLine(line)
		if bad != nil {
			return l.bad("%w", bad)
		}
		d := ReadDigest(string(s.Digest), NoSum)
		if d.Kind != SHA256 && d.Kind != MD5 {
			return l.bad("the digest has %d digits; SHA-256 has 64, MD5 has 32", len(s.Digest))
		}
		row = Row{Key: string(s.Name), Size: -1, Sums: append(row.Sums[:0], d), Line: l.n}
		if err := l.give(&row, yield); err != nil {
			return err
		}
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// readJSON reads one object a line. Names are matched as those of columns, anew in every line.
func readJSON(l *lines, line []byte, format *Format, wish map[string]string, yield func(*Row) error) error {
	var err error
	var row Row
	for ; err == nil; line, err = l.next() {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		header, fields, bad := jsonFields(line)
		if bad != nil {
			return l.bad("%w", bad)
		}
		columns := format.Columns
		if columns == nil || !sameNames(columns.Names, header) {
			if columns, bad = MatchColumns(header, wish); bad != nil {
				return l.bad("%w", bad)
			}
			if format.Columns == nil {
				format.Columns = columns
			}
		}
		isOld, bad := fill(&row, columns, fields)
		if bad != nil {
			return l.bad("%w", bad)
		}
		if isOld {
			format.Old++
			continue
		}
		row.Line = l.n
		if err := l.give(&row, yield); err != nil {
			return err
		}
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// jsonFields returns the scalar fields of an object in their order.
func jsonFields(line []byte) (header, fields []string, err error) {
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return nil, nil, errors.New("not a JSON object; every line must hold one")
	}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return nil, nil, badJSON(err)
		}
		name, _ := t.(string) // within an object the decoder accepts nothing else here
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil {
			return nil, nil, badJSON(err)
		}
		var value string
		switch raw[0] {
		case '"':
			if err := json.Unmarshal(raw, &value); err != nil {
				return nil, nil, err
			}
		case '{', '[':
			continue
		case 'n':
		default:
			value = string(raw)
		}
		header, fields = append(header, name), append(fields, value)
	}
	if _, err := d.Token(); err != nil {
		return nil, nil, badJSON(err)
	}
	if rest, err := io.ReadAll(d.Buffered()); err != nil || len(bytes.TrimSpace(rest)) > 0 || d.InputOffset() < int64(len(bytes.TrimRight(line, " \t\r"))) {
		return nil, nil, errors.New("something follows the object; write one object a line")
	}
	if len(header) == 0 {
		return nil, nil, errors.New("the JSON object holds no field of its own; write one object of the store a line")
	}
	return header, fields, nil
}

func badJSON(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("the JSON object does not end in its line: it is cut off, or spread over several lines; write one object a line")
	}
	return fmt.Errorf("the JSON is damaged: %w", err)
}

func sameNames(a, b []string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// fill makes a row of the fields of a line. isOld says that it is of a version that is no object any more.
func fill(row *Row, c *Columns, fields []string) (isOld bool, err error) {
	*row = Row{Key: fields[c.Key], Size: -1, Sums: row.Sums[:0]}
	switch is, err := c.presence(fields); {
	case err != nil:
		return false, err
	case is == old:
		return true, nil
	case is == deleted:
		row.Deleted = true
		return false, nil
	}
	if c.Size >= 0 {
		text := strings.TrimSpace(fields[c.Size])
		folder := strings.HasSuffix(row.Key, "/") && (text == "" || text == "-")
		if n, err := manifest.ParseSize(text); err == nil {
			row.Size = n
		} else if !folder {
			return false, fmt.Errorf("%s: %w", names.QuoteShort(c.Names[c.Size]), err)
		}
	}
	for _, s := range c.Sums {
		if d := ReadDigest(fields[s.Index], s.Kind); d.Kind != NoSum {
			d.Tag = s.Tag
			row.Sums = append(row.Sums, d)
		}
	}
	return false, nil
}

func plural(n int64, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.FormatInt(n, 10) + " " + one + "s"
}
