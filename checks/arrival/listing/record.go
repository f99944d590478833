package listing

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// presence is what a record says of its object.
type presence uint8

const (
	unsaid  presence = iota // nothing, as in lists of stores that keep no versions
	latest                  // it is the present version
	deleted                 // it is the mark of a deletion: older versions of its key are no objects any more
	old                     // it is a version that was replaced or deleted
)

// A record is being put together from its fields.
type record struct {
	fields
	sums [mostSums]rawSum // the first nSums hold
}

type fields struct {
	text []byte // what the fields hold, one after the other
	key, size, modified,
	algorithm, sumType,
	next, start, prefix span
	nSums     int
	said      presence
	folder    bool
	upload    bool
	truncated bool
	paged     bool // it has a field of a page, whatever it holds
	damaged   bool // the key's characters were replaced
	unopened  span
	err       error
}

// mostSums is how many checksums one record may hold.
const mostSums = 16

// A span is a piece of record.text; rank says of which name it is.
type span struct {
	from, to int
	rank     int
	set      bool
}

type rawSum struct {
	span
	kind Kind
	tag  bool
}

func (r *record) reset() {
	text := r.text[:0]
	if cap(text) > 1<<16 {
		text = nil
	}
	r.fields = fields{text: text}
}

func (r *record) get(s span) []byte { return r.text[s.from:s.to] }

func (r *record) fail(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf(format, args...)
	}
}

func (r *record) put(text []byte) span {
	from := len(r.text)
	if from+len(text) > longest {
		r.fail("it is longer than %d bytes", longest)
		return span{}
	}
	r.text = append(r.text, text...)
	return span{from: from, to: len(r.text), set: true}
}

// keep holds the text in s, if its name is better than that of what s holds. strict says that two values of
// equally good names must be one.
func (r *record) keep(s *span, f *field, text []byte, strict bool) {
	switch {
	case s.set && s.rank < f.rank:
		return
	case s.set && s.rank == f.rank:
		if strict && !bytes.Equal(r.get(*s), text) {
			r.fail("%s is here twice, with %s and %s", quote(f.name), quote(string(r.get(*s))), quote(string(text)))
		}
		return
	}
	*s = r.put(text)
	s.rank = f.rank
}

// set takes one field. text need not last.
func (r *record) set(f *field, text []byte) {
	switch f.role {
	case RoleKey:
		r.keep(&r.key, f, text, true)
	case RoleSize:
		r.keep(&r.size, f, text, true)
	case RoleSum, RoleTag:
		if r.nSums == mostSums {
			r.fail("it holds more than %d checksums", mostSums)
			return
		}
		r.sums[r.nSums] = rawSum{r.put(text), f.kind, f.role == RoleTag}
		r.nSums++
	case RoleModified:
		r.keep(&r.modified, f, text, false)
	case roleAlgorithm:
		r.keep(&r.algorithm, f, text, false)
	case roleSumType:
		r.keep(&r.sumType, f, text, false)
	case RoleLatest, RoleDeleted:
		r.present(f, text)
	case roleSnapshot:
		if v, known := truth(text); known && v || !known && len(bytes.TrimSpace(text)) > 0 {
			r.say(old)
		}
	case roleFolder:
		if v, known := truth(text); known && v {
			r.folder = true
		}
	case roleType:
		switch strings.ToLower(string(bytes.TrimSpace(text))) {
		case "folder", "directory", "dir", "prefix", "collection", "d":
			r.folder = true
		}
	case roleUpload:
		if len(bytes.TrimSpace(text)) > 0 {
			r.upload = true
		}
	case roleTruncated:
		r.paged = true
		if v, known := truth(text); known && v || !known && len(bytes.TrimSpace(text)) > 0 {
			r.truncated = true
		}
	case roleNext:
		r.paged = true
		// "next": false, as some write for none
		if v, known := truth(text); known && !v {
			return
		}
		r.keep(&r.next, f, text, false)
	case roleStart:
		r.paged = true
		if len(text) > 0 {
			r.keep(&r.start, f, text, false)
		}
	case rolePrefix:
		r.keep(&r.prefix, f, text, false)
	case roleUnopened:
		r.keep(&r.unopened, f, text, false)
	}
}

// truth reads a value that is true or false; known is false where it is neither.
func truth(text []byte) (v, known bool) {
	switch text = bytes.TrimSpace(text); len(text) {
	case 0, 1:
		switch string(text) {
		case "1", "y", "Y":
			return true, true
		case "", "-", "0", "n", "N":
			return false, true
		}
	case 2, 3, 4, 5:
		switch strings.ToLower(string(text)) {
		case "true", "yes":
			return true, true
		case "false", "no", "null", "none":
			return false, true
		}
	}
	return false, false
}

// present reads a field that tells whether an object is there now. A version that was replaced or deleted
// proves nothing.
func (r *record) present(f *field, text []byte) {
	trimmed := bytes.TrimSpace(text)
	switch {
	case len(trimmed) == 0, len(trimmed) == 1 && trimmed[0] == '-', len(trimmed) == 4 && strings.EqualFold(string(trimmed), "null"):
		return
	}
	v, known := truth(trimmed)
	switch {
	case f.role == RoleDeleted && !known:
		r.say(old) // the time since when this version is no more
	case f.role == RoleDeleted && v:
		r.say(deleted)
	case f.role == RoleDeleted:
	case !known:
		r.fail("%s: %s is neither true nor false", quote(f.name), quote(string(trimmed)))
	case v:
		r.say(latest)
	default:
		r.say(old)
	}
}

// say adds what one field says: a deletion that was itself replaced is an old version.
func (r *record) say(p presence) { r.said = max(r.said, p) }

// isEntry reports whether the fields are those of an entry of a listing, whatever they hold.
func (r *record) isEntry() bool {
	return r.key.set && (r.size.set || r.nSums > 0 || r.said == deleted || r.upload || r.folder)
}

// adopt takes what a record below holds, where this one has nothing of its own: the size that stands among
// an object's properties, say. Its key is never taken: that would be the name of something else.
func (r *record) adopt(o *record) {
	for _, p := range []struct{ to, from *span }{
		{&r.size, &o.size},
		{&r.modified, &o.modified},
		{&r.algorithm, &o.algorithm},
		{&r.sumType, &o.sumType},
		{&r.next, &o.next},
		{&r.start, &o.start},
	} {
		if p.from.set && !p.to.set {
			*p.to = r.put(o.get(*p.from))
			p.to.rank = math.MaxInt // any name of its own is better
		}
	}
	for i := range o.nSums {
		if r.nSums == mostSums {
			break
		}
		s := o.sums[i]
		r.sums[r.nSums] = rawSum{r.put(o.get(s.span)), s.kind, s.tag}
		r.nSums++
	}
	r.say(o.said)
	r.folder = r.folder || o.folder
	r.upload = r.upload || o.upload
	r.truncated = r.truncated || o.truncated
	r.paged = r.paged || o.paged
	if r.err == nil && (o.size.set || o.nSums > 0) {
		r.err = o.err
	}
}

// finish makes a row of the fields, or says why it is no object.
func (r *record) finish(row *Row) (Reason, error) {
	if r.err != nil {
		return "", r.err
	}
	key := r.get(r.key)
	*row = Row{Key: key, Size: -1, Sums: row.Sums[:0], Deleted: r.said == deleted}
	switch {
	case r.upload:
		return Upload, nil
	case r.damaged:
		return Unreadable, nil
	case !r.key.set:
		return "", errors.New("it holds no key")
	case len(key) == 0:
		return "", errors.New("the key is empty")
	case bytes.IndexByte(key, 0) >= 0:
		return "", errors.New("the key holds a NUL byte, which no file name can")
	case r.said == old:
		return OldVersion, nil
	case r.said == deleted:
		return isObject, nil
	case r.folder:
		return Folder, nil
	}
	if r.size.set {
		text := bytes.TrimSpace(r.get(r.size))
		n, err := parseSize(text)
		// Stores show a folder by an object without content whose key ends with a slash (common practice, no source).
		if key[len(key)-1] == '/' && (n == 0 || string(text) == "-") {
			return Folder, nil
		}
		if err != nil {
			return "", err
		}
		row.Size = n
	}
	for i := range r.nSums {
		s := &r.sums[i]
		want := s.kind
		if want == NoSum && !s.tag {
			want = r.algorithmKind()
		}
		d := readDigest(r.get(s.span), want)
		if d.Kind == NoSum {
			continue
		}
		d.Tag = s.tag
		if !s.tag && d.Parts == 0 && r.sumType.set && squeeze(r.get(r.sumType)) == "composite" {
			d.Parts = -1
		}
		row.Sums = append(row.Sums, d)
	}
	if r.modified.set {
		row.Modified = parseTime(r.get(r.modified))
	}
	return isObject, nil
}

// algorithmKind is the kind of checksum that the record names beside it.
func (r *record) algorithmKind() Kind {
	for _, s := range []span{r.algorithm, r.sumType} {
		if s.set {
			if k := kindNamed(squeeze(r.get(s))); k != NoSum {
				return k
			}
		}
	}
	return NoSum
}

// parseSize reads a whole number of bytes: digits, and a fraction of nothing, as tables write numbers.
func parseSize(text []byte) (int64, error) {
	digits := text
	if i := bytes.IndexByte(text, '.'); i > 0 && i < len(text)-1 && len(bytes.Trim(text[i+1:], "0")) == 0 {
		digits = text[:i]
	}
	n := int64(0)
	if len(digits) == 0 {
		return 0, fmt.Errorf("the size %s is not a whole number of bytes", quote(string(text)))
	}
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, fmt.Errorf("the size %s is not a whole number of bytes", quote(string(text)))
		}
		if n > (math.MaxInt64-9)/10 {
			return 0, fmt.Errorf("the size %s is more bytes than any file can have", quote(string(text)))
		}
		n = n*10 + int64(c-'0')
	}
	return n, nil
}

// parseTime reads the date of an object; zero where it cannot be read. Dates prove nothing, so a strange one
// is no error.
func parseTime(text []byte) time.Time {
	text = bytes.TrimSpace(text)
	if len(text) >= 10 && text[4] == '-' && text[7] == '-' {
		return parseISO(text)
	}
	if len(text) >= 20 && len(text) <= 40 && utf8.Valid(text) {
		for _, layout := range []string{time.RFC1123, time.RFC1123Z, "Monday, 02-Jan-06 15:04:05 MST"} {
			if t, err := time.Parse(layout, string(text)); err == nil {
				return t.UTC()
			}
		}
	}
	switch n, err := strconv.ParseInt(string(text), 10, 64); {
	case err != nil:
	case len(text) == 10:
		return time.Unix(n, 0).UTC()
	case len(text) == 13:
		return time.UnixMilli(n).UTC()
	}
	return time.Time{}
}

// parseISO reads the forms of ISO 8601 in use: 2031-05-04, then a T or a space, 03:02, :01, a fraction, and
// Z, UTC or +00:00.
func parseISO(s []byte) time.Time {
	num := func(from, to int) int {
		n := 0
		for _, c := range s[from:to] {
			if c < '0' || c > '9' {
				return -1
			}
			n = n*10 + int(c-'0')
		}
		return n
	}
	year, month, day := num(0, 4), num(5, 7), num(8, 10)
	if year < 1970 || month < 1 || month > 12 || day < 1 || day > 31 {
		return time.Time{}
	}
	hour, minute, second := 0, 0, 0
	at := 10
	if len(s) >= 16 && (s[10] == 'T' || s[10] == ' ' || s[10] == 't') && s[13] == ':' {
		hour, minute = num(11, 13), num(14, 16)
		at = 16
		if len(s) >= 19 && s[16] == ':' {
			second = num(17, 19)
			at = 19
		}
		if hour < 0 || minute < 0 || second < 0 || hour > 24 || minute > 59 || second > 60 {
			return time.Time{}
		}
	}
	if at < len(s) && (s[at] == '.' || s[at] == ',') {
		for at++; at < len(s) && s[at] >= '0' && s[at] <= '9'; at++ {
		}
	}
	offset := 0
	if at < len(s) && s[at] == ' ' {
		at++
	}
	if rest := s[at:]; len(rest) >= 5 && (rest[0] == '+' || rest[0] == '-') {
		m := 3
		if rest[3] == ':' {
			m = 4
		}
		if len(rest) >= m+2 {
			h, min := num(at+1, at+3), num(at+m, at+m+2)
			if h >= 0 && min >= 0 {
				offset = h*3600 + min*60
				if rest[0] == '-' {
					offset = -offset
				}
			}
		}
	}
	return time.Date(year, time.Month(month), day, hour, minute, second-offset, 0, time.UTC)
}
