package arrival

import (
	"bytes"
	"errors"
	"io"

	"loadline/checks/names"
)

// readTable reads CSV (RFC 4180, with any of the usual delimiters) or TSV (the IANA registration of
// text/tab-separated-values: no quoting). The first line is the header.
func readTable(l *lines, first []byte, format *Format, wish map[string]string, yield func(*Row) error) error {
	t, err := newTable(l, first, wish)
	if err != nil {
		return err
	}
	format.Name, format.Columns = t.name(), t.columns
	var row Row
	for {
		line, err := l.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if len(line) == 0 || len(line) == 1 && line[0] == '\r' {
			continue
		}
		start := l.n
		fields, err := t.split(line)
		if err != nil {
			return err
		}
		if len(fields) != len(t.columns.Names) {
			l.n = start
			return l.bad("%s where the header has %d: the line is cut off, or the listing has more than one delimiter", plural(int64(len(fields)), "field"), len(t.columns.Names))
		}
		isOld, err := fill(&row, t.columns, fields)
		if err != nil {
			return l.bad("%w", err)
		}
		if isOld {
			format.Old++
			continue
		}
		row.Line = start
		if err := l.give(&row, yield); err != nil {
			return err
		}
	}
}

type table struct {
	l       *lines
	comma   byte
	columns *Columns
	fields  []string
	text    []byte
}

func (t *table) name() string {
	switch t.comma {
	case '\t':
		return "TSV"
	case ',':
		return "CSV"
	}
	return "CSV with " + string(t.comma)
}

// newTable finds the delimiter: the one with which the header makes sense.
func newTable(l *lines, first []byte, wish map[string]string) (*table, error) {
	header := bytes.Clone(first)
	var why error
	for _, comma := range []byte{',', '\t', ';', '|'} {
		if bytes.IndexByte(header, comma) < 0 {
			continue
		}
		t := &table{l: l, comma: comma}
		names, err := t.split(header)
		if err != nil {
			return nil, err
		}
		if t.columns, err = MatchColumns(names, wish); err == nil {
			return t, nil
		}
		if why == nil {
			why = err
		}
	}
	if why == nil {
		return nil, l.bad("it is no listing that can be read: a header with a key and a size (commas, tabs, semicolons or bars between), JSON lines, or the lines of sha256sum; it begins with %s", names.QuoteShort(string(first)))
	}
	return nil, l.bad("%w; name them yourself, or give the listing a header", why)
}

// split cuts a line into fields. A quoted field may go on over the next lines. The fields hold until
// the next call.
func (t *table) split(line []byte) ([]string, error) {
	t.fields = t.fields[:0]
	if t.comma == '\t' {
		line = bytes.TrimSuffix(line, []byte{'\r'})
		for f := range bytes.SplitSeq(line, []byte{'\t'}) {
			t.fields = append(t.fields, string(f))
		}
		return t.fields, nil
	}
	for {
		if len(line) == 0 || line[0] != '"' {
			field, rest, more := bytes.Cut(line, []byte{t.comma})
			if !more {
				field = bytes.TrimSuffix(field, []byte{'\r'})
			}
			if bytes.IndexByte(field, '"') >= 0 {
				return nil, t.l.bad("a quotation mark stands in a field that is not quoted: %s", names.QuoteShort(string(field)))
			}
			t.fields = append(t.fields, string(field))
			if !more {
				return t.fields, nil
			}
			line = rest
			continue
		}
		rest, err := t.quoted(line[1:])
		if err != nil {
			return nil, err
		}
		t.fields = append(t.fields, string(t.text))
		if len(rest) == 0 {
			return t.fields, nil
		}
		if rest[0] != t.comma {
			return nil, t.l.bad("after a closing quotation mark stands %s", names.QuoteShort(string(rest[:1])))
		}
		line = rest[1:]
	}
}

// quoted reads a quoted field into t.text, byte for byte, and returns what follows its closing mark.
func (t *table) quoted(line []byte) ([]byte, error) {
	t.text = t.text[:0]
	start := t.l.n
	for {
		at := bytes.IndexByte(line, '"')
		if at >= 0 {
			t.text = append(t.text, line[:at]...)
			line = line[at+1:]
			if len(line) > 0 && line[0] == '"' {
				t.text = append(t.text, '"')
				line = line[1:]
				continue
			}
			return bytes.TrimSuffix(line, []byte{'\r'}), nil
		}
		t.text = append(append(t.text, line...), '\n')
		if len(t.text) > longestRow {
			return nil, t.l.bad("the quotation mark opened in line %d is never closed", start)
		}
		ended := t.l.ends
		next, err := t.l.next()
		if errors.Is(err, io.EOF) || !ended {
			return nil, t.l.bad("the quotation mark opened in line %d is never closed: the listing is cut off", start)
		}
		if err != nil {
			return nil, err
		}
		line = next
	}
}
