package listing

import (
	"bytes"
	"errors"
	"io"
	"strconv"
	"strings"

	"github.com/dustin/go-humanize/english"

	"loadline/checks/names"
)

// byDigits are the kinds by their number of hexadecimal digits.
var byDigits = map[int]Kind{64: SHA256, 40: SHA1, 32: MD5, 128: OtherSum, 96: OtherSum, 56: OtherSum}

// readSumLine reads a line of a checksum list without its end. It changes the line where a name is escaped.
func readSumLine(line []byte) (names.SumLine, Kind, error) {
	s, err := names.ReadSumLine(line)
	if err != nil {
		return s, NoSum, err
	}
	kind := byDigits[len(s.Digest)]
	if s.Tag != nil {
		kind = kindNamed(squeeze(s.Tag))
		if kind.Size() > 0 && len(s.Digest) != 2*kind.Size() {
			kind = NoSum
		}
	}
	if kind == NoSum || len(s.Tag) > 16 {
		return s, NoSum, names.ErrSumLine
	}
	return s, kind, nil
}

// sumListed reports whether a first line is that of a checksum list.
func sumListed(line []byte) bool {
	_, _, err := readSumLine(bytes.Clone(line))
	return err == nil
}

// readSums reads a checksum list. Lines that begin with "#" are comments.
func (rd *reader) readSums() error {
	f := rd.format
	f.Shape = Checksums
	f.Columns = []Column{{"name", RoleKey, NoSum}, {"digest", RoleSum, NoSum}}
	// A name that is not escaped does not end with CR (GNU coreutils): it belongs to the line end.
	crlf := bytes.HasSuffix(firstRaw(rd.in.sample), []byte{'\r'})
	key, sum := field{name: "name", role: RoleKey}, field{name: "digest", role: RoleSum}
	var rec record
	for {
		line, err := rd.line()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if bytes.HasPrefix(line, []byte(manifestFacts)) {
			return refuse(Manifest, "Give the manifest first, then a list of the objects that the store made.", "it is a piece of a manifest from the check after copying, not a listing")
		}
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		if crlf {
			var ends bool
			if line, ends = bytes.CutSuffix(line, []byte{'\r'}); !ends {
				return rd.bad("Get the listing again.", "the first line ends with CR LF, this one does not: the listing is cut off or mixed")
			}
			if len(line) == 0 {
				continue
			}
		}
		s, kind, err := readSumLine(line)
		if err != nil {
			return rd.bad("Get the listing again; this copy of it is damaged.", "%w", err)
		}
		rec.reset()
		rec.set(&key, s.Name)
		sum.kind = kind
		rec.set(&sum, s.Digest)
		if err := rd.deliver(&rec); err != nil {
			return err
		}
	}
}

// firstRaw returns the first line that is not blank, without its LF.
func firstRaw(s []byte) []byte {
	line, _, _ := bytes.Cut(bytes.TrimLeft(s, " \t\r\n"), []byte{'\n'})
	return line
}

// layouts are the columns of text that clients print before a key, aligned by spaces (common practice, no
// source): d a date, t a time, z a zone, T date and time in one, s the size.
var layouts = []string{"dtzs", "dts", "Ts", "sdtz", "sdt", "sT", "s"}

// An aligned is a listing in columns of text. The key is the rest of the line, spaces and all.
type aligned struct {
	rd     *reader
	layout string
	gap    int // spaces between the last column and the key
	crlf   bool
	lines  int64 // entries since the last line that adds them up
}

// newAligned finds the layout that all lines of the sample have; nil if there is none.
func newAligned(rd *reader, whole bool) *aligned {
	sample := rd.in.sample
	if !whole {
		sample = sample[:bytes.LastIndexByte(sample, '\n')+1]
	}
	crlf := lineEnds(rd.in.sample)
	for _, layout := range layouts {
		a := &aligned{rd: rd, layout: layout, gap: 2, crlf: crlf}
		fits, matched := true, 0
		for rest := sample; len(rest) > 0 && fits && matched < 10*sampleRows; {
			var line []byte
			line, rest, _ = bytes.Cut(rest, []byte{'\n'})
			line = a.trim(line)
			if len(bytes.TrimSpace(line)) == 0 || isTotal(line) || isFolderLine(line) {
				continue
			}
			_, _, tail, ok := a.columns(line)
			spaces := len(tail) - len(bytes.TrimLeft(tail, " "))
			if ok = ok && spaces > 0 && spaces < len(tail); ok {
				matched++
				a.gap = min(a.gap, spaces)
			}
			fits = ok
		}
		if fits && matched > 0 {
			return a
		}
	}
	return nil
}

func (a *aligned) trim(line []byte) []byte {
	if a.crlf {
		return bytes.TrimSuffix(line, []byte{'\r'})
	}
	return line
}

// columns reads what stands before the key; tail is what follows, with its spaces.
func (a *aligned) columns(line []byte) (date, size, tail []byte, ok bool) {
	from := -1 // of the date
	rest := line
	for i := range len(a.layout) {
		rest = bytes.TrimLeft(rest, " ")
		n := bytes.IndexByte(rest, ' ')
		if n <= 0 {
			return nil, nil, nil, false
		}
		token := rest[:n]
		if !fitsColumn(a.layout[i], token) {
			return nil, nil, nil, false
		}
		at := len(line) - len(rest)
		switch a.layout[i] {
		case 's':
			size = token
		case 'd', 'T':
			from, date = at, token
		default:
			date = line[from : at+n]
		}
		rest = rest[n:]
	}
	return date, size, rest, true
}

func fitsColumn(kind byte, token []byte) bool {
	switch kind {
	case 's':
		return len(bytes.Trim(token, "0123456789")) == 0
	case 'd':
		return len(token) == 10 && !parseTime(token).IsZero()
	case 'T':
		return len(token) > 16 && (token[10] == 'T' || token[10] == 't') && !parseTime(token).IsZero()
	case 't':
		if len(token) < 5 || token[2] != ':' {
			return false
		}
		return len(bytes.Trim(token, "0123456789:.")) == 0
	}
	switch string(token) {
	case "UTC", "GMT", "Z":
		return true
	}
	return (len(token) == 5 || len(token) == 6) && (token[0] == '+' || token[0] == '-') && len(bytes.Trim(token[1:], "0123456789:")) == 0
}

// isTotal reports whether a line adds the others up, as clients print it last: "Total Objects: 5".
func isTotal(line []byte) bool {
	s := strings.ToLower(string(bytes.TrimSpace(line[:min(len(line), 200)])))
	return strings.HasPrefix(s, "total") && strings.IndexByte(s, ':') > 0 && strings.ContainsAny(s, "0123456789")
}

// total returns the number of objects in such a line, -1 if it does not say.
func total(line []byte) int64 {
	s := strings.ToLower(string(bytes.TrimSpace(line)))
	head, rest, _ := strings.Cut(s, ":")
	rest = strings.TrimSpace(rest)
	n := strings.IndexFunc(rest, func(r rune) bool { return r < '0' || r > '9' })
	if n < 0 {
		n = len(rest)
	}
	v, err := strconv.ParseInt(rest[:n], 10, 64)
	if err != nil || !strings.Contains(head, "objects") && !strings.HasPrefix(strings.TrimSpace(rest[n:]), "object") {
		return -1
	}
	return v
}

// isFolderLine reports whether a line names a folder that was not opened: "PRE day1/".
func isFolderLine(line []byte) bool {
	s := bytes.TrimLeft(line, " ")
	return bytes.HasSuffix(s, []byte("/")) && (bytes.HasPrefix(s, []byte("PRE ")) || bytes.HasPrefix(s, []byte("DIR "))) && len(s) > 5
}

// datedBracket reports whether a text that begins with "[" begins with a date.
func datedBracket(s []byte) bool {
	return len(s) > 11 && !parseTime(s[1:11]).IsZero()
}

func (a *aligned) read() error {
	rd := a.rd
	f := rd.format
	f.Shape, f.Guessed, f.relative = Aligned, true, true
	words := map[byte]Column{'s': {"size", RoleSize, NoSum}, 'd': {"date", RoleModified, NoSum}, 'T': {"date", RoleModified, NoSum}}
	for i := range len(a.layout) {
		if c, ok := words[a.layout[i]]; ok {
			f.Columns = append(f.Columns, c)
		}
	}
	f.Columns = append(f.Columns, Column{"rest of the line", RoleKey, NoSum})
	key, size, date := field{name: "key", role: RoleKey}, field{name: "size", role: RoleSize}, field{name: "date", role: RoleModified}
	var rec record
	for {
		line, err := rd.line()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		line = a.trim(line)
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		d, s, tail, ok := a.columns(line)
		if !ok || len(tail) <= a.gap || len(bytes.Trim(tail[:a.gap], " ")) > 0 {
			switch {
			case isFolderLine(line):
				rd.unopened(bytes.TrimLeft(line, " ")[4:])
				a.lines++
				continue
			case isTotal(line):
				if n := total(line); n >= 0 && n != a.lines {
					return rd.bad("Get the listing again, whole.", "it says that it lists %s, but it holds %d", english.Plural(int(n), "object", ""), a.lines)
				} else if n >= 0 {
					a.lines = 0
				}
				continue
			}
			return rd.bad("Get the listing again, or ask for it as CSV or JSON.", "it is not in the columns of the lines before: %s", quote(string(line)))
		}
		rec.reset()
		rec.set(&key, tail[a.gap:])
		rec.set(&size, s)
		if d != nil {
			rec.set(&date, d)
		}
		a.lines++
		if err := rd.deliver(&rec); err != nil {
			return err
		}
		if len(f.First) < 10 {
			f.First = append(f.First, []string{string(line[:min(len(line), 200)])})
		}
	}
}
