package listing

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/dustin/go-humanize/english"
)

// sampleRows is how many rows are looked at to tell columns by what they hold.
const sampleRows = 500

// readText reads what is neither JSON nor XML nor checksum lines.
func (rd *reader) readText() error {
	whole := errors.Is(rd.in.sampleErr, io.EOF)
	s := splitter{crlf: lineEnds(rd.in.sample)}
	var why error
	// A header in which names make sense settles everything.
	for _, comma := range []byte{',', '\t', ';', '|'} {
		s.comma = comma
		if bytes.IndexByte(firstLine(bytes.TrimLeft(rd.in.sample, "\r\n")), comma) < 0 {
			continue
		}
		t := rd.newTable(s, whole)
		if t == nil {
			continue
		}
		err := t.byHeader()
		if err == nil {
			return t.read()
		}
		if why == nil || errors.As(err, new(chosenError)) {
			why = err
		}
	}
	if errors.As(why, new(chosenError)) {
		rd.at = 1
		return rd.bad("Name the columns as the listing does, or by number.", "%w", why)
	}
	if len(rd.o.Columns) == 0 {
		if a := newAligned(rd, whole); a != nil {
			return a.read()
		}
	}
	// Without one, the delimiter with which the columns make sense by what they hold.
	var guess error
	for _, comma := range []byte{'\t', ',', ';', '|'} {
		s.comma = comma
		t := rd.newTable(s, whole)
		if t == nil {
			continue
		}
		err := t.byContent()
		if err == nil {
			return t.read()
		}
		if guess == nil {
			guess = err
		}
	}
	if len(rd.o.Columns) > 0 {
		if a := newAligned(rd, whole); a != nil {
			return a.read()
		}
	}
	rd.at = 1
	if errors.As(why, new(namesOnlyError)) || guess == nil {
		guess = why
	}
	if errors.As(guess, new(namesOnlyError)) {
		e := rd.bad("Ask the store for a list of its objects with key and size, or name the columns yourself: key=1,size=2.", "%w", guess).(*Error)
		e.Is = NamesOnly
		return e
	}
	if guess != nil {
		return rd.bad("Name the columns yourself, by number: key=1,size=2 and so on.", "%w", guess)
	}
	first := firstLine(bytes.TrimLeft(rd.in.sample, " \t\r\n"))
	e := rd.bad("Ask the store for a list of its objects with key and size: a table, JSON or XML.",
		"it is not a listing that can be read; it begins with %s", quote(string(first))).(*Error)
	if bytes.IndexByte(first, '/') >= 0 {
		e.Is = NamesOnly // a list of names, perhaps of those that were to be copied
	}
	return e
}

// A table is read by its columns.
type table struct {
	rd     *reader
	split  splitter
	sample [][]string
	fields []field // one a column
	header bool    // the first record is the header
	// unnamed are columns of true and false that nobody has named. While each holds one value only, they say
	// nothing; where one changes, it may tell objects from old versions.
	unnamed []unnamed
}

type unnamed struct {
	column int
	value  bool
	known  bool
}

// newTable returns a table as a delimiter would have it; nil if it would have one column.
func (rd *reader) newTable(s splitter, whole bool) *table {
	t := &table{rd: rd, split: s}
	rows, err := sampled(rd.in.sample, whole, s, sampleRows)
	if s.comma == '\t' && (allQuoted(rows) || err != nil || !even(rows)) {
		s.quote = true
		if again, err2 := sampled(rd.in.sample, whole, s, sampleRows); err2 == nil && even(again) {
			t.split, rows = s, again
		}
	}
	if len(rows) == 0 || len(rows[0]) < 2 {
		return nil
	}
	t.sample = rows
	return t
}

func even(rows [][]string) bool {
	return !slices.ContainsFunc(rows, func(r []string) bool { return len(r) != len(rows[0]) })
}

// allQuoted reports whether every field of the first row stands in quotation marks.
func allQuoted(rows [][]string) bool {
	return len(rows) > 0 && !slices.ContainsFunc(rows[0], func(f string) bool {
		return len(f) < 2 || f[0] != '"' || f[len(f)-1] != '"'
	})
}

// chosenError says that a choice of the person's cannot be followed.
type chosenError struct{ text string }

func (e chosenError) Error() string { return e.text }

// namesOnlyError says that there is a key and nothing to compare.
type namesOnlyError struct{ columns string }

func (e namesOnlyError) Error() string {
	return "no column holds a size or a checksum, so nothing but names could be compared" + e.columns
}

// choose applies the person's choices to names of columns.
func (t *table) choose(fields []field) error {
	choice := t.rd.o.Columns
	for i := range fields {
		if f := &fields[i]; f.role == RoleKey && choice.has(RoleKey) || f.role == RoleSize && choice.has(RoleSize) {
			f.role = RoleNone
		}
	}
	for _, c := range choice {
		at := slices.IndexFunc(fields, func(f field) bool { return strings.EqualFold(f.name, c.Column) })
		if n, err := strconv.Atoi(c.Column); at < 0 && err == nil && n >= 1 && n <= len(fields) {
			at = n - 1
		}
		if at < 0 {
			return chosenError{"there is no column " + quote(c.Column) + "; the columns are: " + showNames(fields)}
		}
		fields[at].role, fields[at].kind, fields[at].rank = c.Role, c.Kind, 0
	}
	return nil
}

func showNames(fields []field) string {
	var shown []string
	for _, f := range fields[:min(len(fields), 20)] {
		shown = append(shown, quote(f.name))
	}
	return strings.Join(shown, ", ")
}

// named returns the fields that a row of names stands for.
func (t *table) named(row []string) ([]field, error) {
	fields := make([]field, len(row))
	for i, name := range row {
		fields[i] = meaning([]byte(strings.TrimSpace(name)))
		switch fields[i].role {
		case roleTruncated, roleNext, roleStart, rolePrefix, roleUnopened: // of pages, which tables do not have
			fields[i].role = RoleNone
		}
	}
	if err := t.choose(fields); err != nil {
		return nil, err
	}
	key, size, sum := best(fields, RoleKey), best(fields, RoleSize), false
	for i := range fields {
		f := &fields[i]
		sum = sum || f.role == RoleSum || f.role == RoleTag
		if f.role == RoleKey && i != key || f.role == RoleSize && i != size {
			f.role = RoleNone
		}
	}
	switch {
	case key < 0:
		return nil, errors.New("no column holds the key; the columns are: " + showNames(fields))
	case size < 0 && !sum:
		return nil, namesOnlyError{"; the columns are: " + showNames(fields)}
	}
	return fields, nil
}

// best returns the column of a role with the best name, -1 if none has it.
func best(fields []field, role Role) int {
	at := -1
	for i, f := range fields {
		if f.role == role && (at < 0 || f.rank < fields[at].rank) {
			at = i
		}
	}
	return at
}

// byHeader reads the first row as the header.
func (t *table) byHeader() error {
	fields, err := t.named(t.sample[0])
	if err != nil {
		return err
	}
	// Names of which one is a number are a row of values, whatever the others say.
	if size := best(fields, RoleSize); size >= 0 {
		if _, err := parseSize([]byte(strings.TrimSpace(t.sample[0][size]))); err == nil {
			return errors.New("the first line is no header")
		}
	}
	t.fields, t.header = fields, true
	t.rd.format.Header = "header"
	return nil
}

// bySchema takes the names that a schema file gives, if they can be those of this table.
func (t *table) bySchema() bool {
	o := t.rd.o
	if len(o.Names) != len(t.sample[0]) {
		return false
	}
	fields, err := t.named(o.Names)
	if err != nil {
		return false
	}
	if size := best(fields, RoleSize); size >= 0 {
		numbers := false
		for _, row := range t.sample {
			text := []byte(strings.TrimSpace(row[size]))
			if _, err := parseSize(text); err == nil {
				numbers = true
			} else if len(text) > 0 {
				return false
			}
		}
		if !numbers {
			return false
		}
	}
	t.fields = fields
	t.rd.format.Header = o.NamesFrom
	if o.NamesFrom == "" {
		t.rd.format.Header = "schema"
	}
	return true
}

// byContent tells the columns by what they hold.
func (t *table) byContent() error {
	if !even(t.sample) {
		return errors.New("it has no header that makes sense, and its rows differ in their number of fields")
	}
	if t.bySchema() {
		return nil
	}
	rows := t.sample
	fields := make([]field, len(rows[0]))
	for i := range fields {
		fields[i].name = "column " + strconv.Itoa(i+1)
	}
	// A first row that is unlike the others is a header with names that nobody knows.
	header := len(rows) > 1 && isHeader(rows)
	if header {
		for i, name := range rows[0] {
			fields[i].name = strings.TrimSpace(name)
		}
		rows = rows[1:]
	}
	if err := t.choose(fields); err != nil {
		return err
	}
	if err := t.guess(fields, rows); err != nil {
		return err
	}
	t.fields, t.header = fields, header
	t.rd.format.Guessed = true
	if header {
		t.rd.format.Header = "header"
	}
	return nil
}

// describe tells how the table was understood.
func (t *table) describe() {
	f := t.rd.format
	f.Shape, f.Delimiter = Table, t.split.comma
	for _, c := range t.fields {
		f.Columns = append(f.Columns, Column{c.name, c.role, c.kind})
	}
	for _, row := range t.sample[:min(len(t.sample), 10)] {
		shown := make([]string, len(row))
		for i, v := range row {
			shown[i] = v[:min(len(v), 200)]
		}
		f.First = append(f.First, shown)
	}
}

func (t *table) read() error {
	rd, s := t.rd, &t.split
	t.describe()
	s.next = rd.line
	s.text, s.ends = nil, nil
	from := int64(0) // the line in which the record begins
	s.began = func() { from = rd.at }
	var rec record
	for first := true; ; first = false {
		err := s.read()
		if errors.Is(err, io.EOF) {
			rd.format.unnamed = t.unnamed
			return nil
		}
		if err != nil {
			if errors.As(err, new(splitError)) {
				return rd.bad("Get the listing again; this copy of it is damaged, or has another delimiter.", "%w", err)
			}
			return err
		}
		if first && t.header {
			continue
		}
		last := rd.at
		rd.at = from
		if s.len() != len(t.fields) {
			return rd.bad("Get the listing again: the line is cut off, or the listing has more than one delimiter.",
				"%s where the first line has %d", english.Plural(s.len(), "field", ""), len(t.fields))
		}
		rec.reset()
		for i := range t.fields {
			if f := &t.fields[i]; f.role != RoleNone && f.role != RoleIgnore {
				if f.role == RoleSize || f.role == RoleKey || len(s.field(i)) > 0 {
					rec.set(f, s.field(i))
				}
			}
		}
		if err := t.steady(); err != nil {
			return err
		}
		if err := rd.deliver(&rec); err != nil {
			return err
		}
		rd.at = last
	}
}

// steady refuses a column of true and false that nobody has named and that changes.
func (t *table) steady() error {
	for i := range t.unnamed {
		u := &t.unnamed[i]
		v, known := truth(t.split.field(u.column))
		switch {
		case !known || len(t.split.field(u.column)) == 0:
		case !u.known:
			u.value, u.known = v, true
		case u.value != v:
			hint, err := u.unclear()
			return t.rd.bad(hint, "%w", err)
		}
	}
	return nil
}

// unclear says that the column must be named.
func (u *unnamed) unclear() (hint string, err error) {
	n := strconv.Itoa(u.column + 1)
	return "Say what it means: latest=" + n + " if it says which version is present, deleted=" + n + " if it marks deletions, ignore=" + n + " if neither.",
		errors.New("column " + n + " holds true and false, and without a name it may tell objects from old versions")
}

// steadyParts refuses what steady does, where the column changes from one part of a table to the next.
func steadyParts(f *Format, before []*Format) error {
	for _, b := range before {
		if b.Shape != f.Shape || len(b.Columns) != len(f.Columns) {
			continue
		}
		for _, u := range f.unnamed {
			for _, v := range b.unnamed {
				if u.column == v.column && u.known && v.known && u.value != v.value {
					hint, err := u.unclear()
					return &Error{Err: err, Hint: hint}
				}
			}
		}
	}
	return nil
}
