package names

import (
	"bytes"
	"errors"
)

// A SumLine is one line of sha256sum and its kin, plain or in the form of BSD:
//
//	DIGEST  NAME
//	SHA256 (NAME) = DIGEST
//
// Where a name holds a backslash, LF or CR, the line begins with a backslash and these stand as \\, \n and
// \r (GNU coreutils, "cksum output modes").
type SumLine struct {
	Tag    []byte // the algorithm as the line names it; nil in the plain form
	Digest []byte // hexadecimal, as it stands
	Name   []byte // unescaped; points into the line
}

// ErrSumLine: a line is none of a checksum list.
var ErrSumLine = errors.New("it is not a line of a checksum list (digest, two spaces, name)")

// ReadSumLine reads a line without its end. It changes the line where a name is escaped.
func ReadSumLine(line []byte) (SumLine, error) {
	line, escaped := bytes.CutPrefix(line, []byte{'\\'})
	s, ok := plainSum(line)
	if !ok {
		s, ok = taggedSum(line)
	}
	if !ok || len(s.Digest)%2 != 0 {
		return SumLine{}, ErrSumLine
	}
	if bytes.IndexByte(s.Name, 0) >= 0 {
		return SumLine{}, errors.New("the name contains a NUL byte, which no file name can")
	}
	var err error
	if escaped {
		s.Name, err = unescape(s.Name)
	}
	return s, err
}

func plainSum(line []byte) (SumLine, bool) {
	n := hexDigits(line)
	if n == 0 || len(line) < n+3 || line[n] != ' ' || line[n+1] != ' ' && line[n+1] != '*' {
		return SumLine{}, false
	}
	return SumLine{Digest: line[:n], Name: line[n+2:]}, true
}

func taggedSum(line []byte) (SumLine, bool) {
	tag, rest, _ := bytes.Cut(line, []byte(" ("))
	end := bytes.LastIndex(rest, []byte(") = "))
	if end < 1 {
		return SumLine{}, false
	}
	s := SumLine{Tag: tag, Name: rest[:end], Digest: rest[end+len(") = "):]}
	return s, len(s.Digest) > 0 && hexDigits(s.Digest) == len(s.Digest)
}

// hexDigits counts the hexadecimal digits that a text begins with.
func hexDigits(text []byte) int {
	for i, c := range text {
		if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f' || c >= 'A' && c <= 'F') {
			return i
		}
	}
	return len(text)
}

var errEscaped = errors.New(`only \\, \n and \r may follow a backslash in a name`)

// unescape takes the escapes out of a name, in place.
func unescape(name []byte) ([]byte, error) {
	at := bytes.IndexByte(name, '\\')
	if at < 0 {
		return name, nil
	}
	out := name[:at]
	for i := at; i < len(name); i++ {
		c := name[i]
		if c == '\\' {
			i++
			if i == len(name) {
				return nil, errEscaped
			}
			switch name[i] {
			case '\\':
			case 'n':
				c = '\n'
			case 'r':
				c = '\r'
			default:
				return nil, errEscaped
			}
		}
		out = append(out, c)
	}
	return out, nil
}
