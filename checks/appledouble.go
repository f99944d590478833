package checks

import (
	"strings"

	"loadline/checks/walk"
)

// AppleDouble is how a file begins that holds what its neighbor's file system could not: attributes and
// a resource fork (RFC 1740, from memory; file(1) magic).
var AppleDouble = [4]byte{0x00, 0x05, 0x16, 0x07}

// IsAppleDouble looks at the name and the first bytes of a file. For use in a visit of a walk.
func IsAppleDouble(d *walk.Dir, e *walk.Entry) bool {
	if len(e.Name) <= 2 || !strings.HasPrefix(e.Name, "._") || e.Size < 4 {
		return false
	}
	var head [4]byte
	n, err := d.Head(e.Name, head[:]) // an error is the business of the check of permissions
	return err == nil && n == 4 && head == AppleDouble
}
