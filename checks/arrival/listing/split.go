package listing

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode"
	"unicode/utf8"
)

// A splitter takes the records of a table apart: RFC 4180 with a delimiter of choice, and with tabs the IANA
// registration of text/tab-separated-values, which knows no quotation marks, as well as tables with tabs that
// quote as RFC 4180 does.
//
// encoding/csv is not exact for keys: it writes CR LF within quotes as LF, so that an object would seem to
// be missing; it has one way to quote with tabs; and a mark that is never closed makes it hold the whole
// file. A fuzz test compares both in all else.
type splitter struct {
	next  func() ([]byte, error) // the next line without its LF
	began func()                 // called when a record has begun; may be nil
	comma byte
	crlf  bool // lines end with CR LF
	quote bool // with tabs: quotation marks are those of RFC 4180 throughout
	text  []byte
	ends  []int
}

func (s *splitter) len() int { return len(s.ends) }

// field returns a field of the record; it holds until the next one is read.
func (s *splitter) field(i int) []byte {
	from := 0
	if i > 0 {
		from = s.ends[i-1]
	}
	return s.text[from:s.ends[i]:s.ends[i]]
}

func (s *splitter) strings() []string {
	all := make([]string, s.len())
	for i := range all {
		all[i] = string(s.field(i))
	}
	return all
}

// splitError is what is wrong with a record.
type splitError string

func (e splitError) Error() string { return string(e) }

func splitErrorf(format string, args ...any) error { return splitError(fmt.Sprintf(format, args...)) }

// read takes the next record, empty lines aside; io.EOF after the last one.
func (s *splitter) read() error {
	for {
		line, err := s.next()
		if err != nil {
			return err
		}
		if len(line) == 0 || len(line) == 1 && line[0] == '\r' {
			continue
		}
		if s.began != nil {
			s.began()
		}
		return s.split(line)
	}
}

// lineEnd takes the CR of a line end off the last field.
func (s *splitter) lineEnd(field []byte) []byte {
	if s.crlf {
		return bytes.TrimSuffix(field, []byte{'\r'})
	}
	return field
}

func (s *splitter) split(line []byte) error {
	s.text, s.ends = s.text[:0], s.ends[:0]
	for {
		if len(line) > 0 && line[0] == '"' && (s.comma != '\t' || s.quote || s.quoted(line)) {
			rest, err := s.unquote(line[1:])
			if err != nil {
				return err
			}
			s.ends = append(s.ends, len(s.text))
			switch {
			case len(rest) == 0, len(rest) == 1 && rest[0] == '\r':
				return nil
			case rest[0] != s.comma:
				return splitErrorf("a closing quotation mark is followed by %s", quote(string(rest[:1])))
			}
			line = rest[1:]
			continue
		}
		i := bytes.IndexByte(line, s.comma)
		field := line
		if i >= 0 {
			field = line[:i]
		} else {
			field = s.lineEnd(field)
		}
		if s.comma != '\t' && bytes.IndexByte(field, '"') >= 0 {
			return splitErrorf("there is a quotation mark in a field that is not quoted: %s", quote(string(field)))
		}
		s.text = append(s.text, field...)
		s.ends = append(s.ends, len(s.text))
		if i < 0 {
			return nil
		}
		line = line[i+1:]
	}
}

// quoted reports whether a field of a table with tabs, which begins with a quotation mark, is quoted: it holds
// what only a quoted field can hold, or what is written so in a quoted field only, or begins with a space, for
// which some quote it.
func (s *splitter) quoted(line []byte) bool {
	rest := line[1:]
	first, _ := utf8.DecodeRune(rest)
	needed := unicode.IsSpace(first) || bytes.HasPrefix(rest, []byte(`\."`))
	for {
		i := bytes.IndexByte(rest, '"')
		if i < 0 {
			return false
		}
		needed = needed || bytes.ContainsAny(rest[:i], "\t\r")
		rest = rest[i+1:]
		if len(rest) > 0 && rest[0] == '"' {
			needed, rest = true, rest[1:]
			continue
		}
		return needed && (len(rest) == 0 || rest[0] == '\t' || len(rest) == 1 && rest[0] == '\r')
	}
}

// unquote reads a quoted field, byte for byte, which may go on over the next lines, and returns what follows
// its closing mark.
func (s *splitter) unquote(line []byte) ([]byte, error) {
	start := len(s.text)
	for {
		i := bytes.IndexByte(line, '"')
		if i >= 0 {
			s.text = append(s.text, line[:i]...)
			line = line[i+1:]
			if len(line) > 0 && line[0] == '"' {
				s.text = append(s.text, '"')
				line = line[1:]
				continue
			}
			return line, nil
		}
		s.text = append(append(s.text, line...), '\n')
		if len(s.text)-start > longest {
			return nil, splitErrorf("a quotation mark is never closed")
		}
		next, err := s.next()
		if errors.Is(err, io.EOF) {
			return nil, splitErrorf("a quotation mark is never closed: the listing is cut off")
		}
		if err != nil {
			return nil, err
		}
		line = next
	}
}

// sampled reads up to n records from the beginning of a text; the last one, which may be cut, only if the
// text is whole.
func sampled(text []byte, whole bool, s splitter, n int) ([][]string, error) {
	s.text, s.ends = nil, nil
	if !whole {
		text = text[:bytes.LastIndexByte(text, '\n')+1]
	}
	s.next = func() ([]byte, error) {
		if len(text) == 0 {
			return nil, io.EOF
		}
		line, rest, _ := bytes.Cut(text, []byte{'\n'})
		text = rest
		return line, nil
	}
	var rows [][]string
	for len(rows) < n {
		err := s.read()
		if errors.Is(err, io.EOF) || err != nil && !whole && len(text) == 0 && len(rows) > 0 {
			break
		}
		if err != nil {
			return rows, err
		}
		rows = append(rows, s.strings())
	}
	return rows, nil
}
