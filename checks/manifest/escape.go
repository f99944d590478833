package manifest

import (
	"bytes"
	"encoding/hex"
	"errors"
	"strings"

	"loadline/checks/names"
)

// Two ways to write a name into one line.
//
// sha256sum (GNU coreutils, "cksum output modes"): where a name holds a backslash, LF or CR, the
// line begins with a backslash and these stand as \\, \n and \r. Seen with coreutils 9.1.
//
// RFC 8493 §2.1.3: LF, CR and "%" stand as %0A, %0D and %25, everything else as it is.

// AppendSumLine appends one line as sha256sum writes it: digest, two spaces, name, LF.
// A name "-" alone would be standard input to sha256sum -c, so it is written "./-".
func AppendSumLine(dst []byte, digest, name []byte) []byte {
	escaped := bytes.ContainsAny(name, "\\\n\r")
	if escaped {
		dst = append(dst, '\\')
	}
	dst = hex.AppendEncode(dst, digest)
	dst = append(dst, ' ', ' ')
	switch {
	case len(name) == 1 && name[0] == '-':
		dst = append(dst, "./-"...)
	case escaped:
		dst = append(dst, escaper.Replace(string(name))...)
	default:
		dst = append(dst, name...)
	}
	return append(dst, '\n')
}

var escaper = strings.NewReplacer(`\`, `\\`, "\n", `\n`, "\r", `\r`)

// A sumLine is one line of sha256sum, md5sum and their kin.
type sumLine struct {
	Digest []byte // hex, as it stands
	Name   []byte // unescaped; points into the line
}

var errSumLine = errors.New("not a line of a checksum list (digest, two spaces, name)")

// ParseSumLine reads a line without its LF. It changes the line where a name is escaped.
func ParseSumLine(line []byte) (sumLine, error) {
	escaped := len(line) > 0 && line[0] == '\\'
	if escaped {
		line = line[1:]
	}
	n := 0
	for n < len(line) && isHex(line[n]) {
		n++
	}
	if n == 0 || n%2 != 0 || len(line) < n+3 || line[n] != ' ' || (line[n+1] != ' ' && line[n+1] != '*') {
		return sumLine{}, errSumLine
	}
	s := sumLine{Digest: line[:n], Name: line[n+2:]}
	if bytes.IndexByte(s.Name, 0) >= 0 {
		return sumLine{}, errors.New("the name contains a NUL byte, which no file name can")
	}
	if escaped {
		name, err := names.Unescape(s.Name)
		if err != nil {
			return sumLine{}, err
		}
		s.Name = name
	}
	return s, nil
}

// bagPath codes a path as a BagIt manifest holds it.
var bagPath = strings.NewReplacer("\n", "%0A", "\r", "%0D", "%", "%25")

func isHex(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'a' && c <= 'f' || c >= 'A' && c <= 'F'
}
