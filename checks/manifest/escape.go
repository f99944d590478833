package manifest

import (
	"bytes"
	"encoding/hex"
	"strings"
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

// bagPath codes a path as a BagIt manifest holds it.
var bagPath = strings.NewReplacer("\n", "%0A", "\r", "%0D", "%", "%25")
