package names

import (
	"bytes"
	"errors"
)

var errEscaped = errors.New(`only \\, \n and \r may follow a backslash in a name`)

// Unescape reads, in place, a name as sha256sum and its kin escape it (GNU coreutils, "cksum output modes"): \\
// is a backslash, \n a line feed and \r a carriage return.
func Unescape(name []byte) ([]byte, error) {
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
