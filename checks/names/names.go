// Package names holds the rules on names and paths: pure functions on raw bytes, no input or
// output. A name is the last part of a path as the file system gives it, in any encoding. All
// functions are safe for concurrent use; the methods of one Twins are not.
package names

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// Limits of names and paths, in bytes where nothing else is said.
const (
	NameMax        = 255  // limits.h NAME_MAX; nfs(5) namlen
	PathMax        = 4095 // limits.h PATH_MAX 4,096 with the NUL that ends it
	PosixNameMax   = 14   // limits.h _POSIX_NAME_MAX; pathchk -p
	PosixPathMax   = 255  // limits.h _POSIX_PATH_MAX 256 with the NUL; pathchk -p
	WindowsPathMax = 259  // UTF-16 units (common practice, no source); see UTF16Len
	DepthMax       = 20   // folders (common practice, no source)
)

// Traits is a set of what holds for one name.
type Traits uint32

// The traits that Look finds. Those from HardControl to NotNFC speak of characters: a name that is
// not valid UTF-8 has Invalid in place of them.
const (
	NotASCII      Traits = 1 << iota // a byte over 0x7F
	Upper                            // an ASCII capital letter
	NotPortable                      // a byte outside A–Z a–z 0–9 . _ - (POSIX portable filename character set)
	Reserved                         // one of \ : * ? " < > |
	LineBreak                        // LF or CR
	TrailingDot                      // the last byte is a dot
	TrailingSpace                    // the last byte is a space
	LeadingSpace                     // the first byte is a space
	LeadingHyphen                    // the first byte is a hyphen
	Device                           // a device name of old systems; see below
	Invalid                          // not valid UTF-8 (RFC 3629): surrogates and overlong forms too
	HardControl                      // U+0000–001F but TAB, LF, CR; U+FFFE, U+FFFF: XML 1.0 cannot hold them
	SoftControl                      // TAB, U+007F–009F
	Bidi                             // changes the direction of text: U+061C, 200E, 200F, 202A–202E, 2066–2069
	NotNFC                           // differs from its Normalization Form C (UAX #15)
)

// characters are the traits that only hold for valid UTF-8.
const characters = HardControl | SoftControl | Bidi | NotNFC

// Any reports whether t has at least one of the traits of u.
func (t Traits) Any(u Traits) bool { return t&u != 0 }

var byteTraits = func() (table [256]Traits) {
	for i := range table {
		b := byte(i)
		switch {
		case b >= 'A' && b <= 'Z':
			table[i] = Upper
		case b >= 'a' && b <= 'z', b >= '0' && b <= '9', b == '.', b == '_', b == '-':
		case b >= 0x80:
			table[i] = NotPortable | NotASCII
		case b == '\n', b == '\r':
			table[i] = NotPortable | LineBreak
		case b == '\t', b == 0x7F:
			table[i] = NotPortable | SoftControl
		case b < 0x20:
			table[i] = NotPortable | HardControl
		case strings.IndexByte(`\:*?"<>|`, b) >= 0:
			table[i] = NotPortable | Reserved
		default:
			table[i] = NotPortable
		}
	}
	return table
}()

// Look finds the traits of a name in one pass over its bytes; only a name that is not ASCII costs
// more. It does not allocate, but for a name that is not in NFC. The empty name has no traits.
func Look(name string) Traits {
	t := LookBriefly(name)
	if t.Any(NotASCII) && !t.Any(Invalid) && !isNFC(name) {
		t |= NotNFC
	}
	return t
}

// LookBriefly is Look but for NotNFC, which takes longer to find than all the others.
func LookBriefly(name string) Traits {
	if name == "" {
		return 0
	}
	t := bytesOf(name)
	switch name[0] {
	case ' ':
		t |= LeadingSpace
	case '-':
		t |= LeadingHyphen
	case 'C', 'c', 'P', 'p', 'A', 'a', 'N', 'n', 'L', 'l':
		if isDevice(name) {
			t |= Device
		}
	}
	switch name[len(name)-1] {
	case ' ':
		t |= TrailingSpace
	case '.':
		t |= TrailingDot
	}
	if t&NotASCII != 0 {
		t = lookCharacters(name, t)
	}
	return t
}

// bytesOf returns what the bytes of a name, one by one, add to its traits.
func bytesOf(name string) (t Traits) {
	for i := 0; i < len(name); i++ {
		t |= byteTraits[name[i]]
	}
	return t
}

func lookCharacters(name string, t Traits) Traits {
	if !utf8.ValidString(name) {
		return t&^characters | Invalid
	}
	for _, r := range name {
		if r >= 0x80 {
			t |= runeTraits(r)
		}
	}
	return t
}

// runeTraits returns what one character adds to the traits of a valid name.
func runeTraits(r rune) Traits {
	switch {
	case r < 0x80:
		return byteTraits[r]
	case r <= 0x9F:
		return NotPortable | NotASCII | SoftControl
	case r == 0x061C, r == 0x200E, r == 0x200F, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
		return NotPortable | NotASCII | Bidi // Bidi_Control (Unicode PropList.txt)
	case r == 0xFFFE, r == 0xFFFF:
		return NotPortable | NotASCII | HardControl
	}
	return NotPortable | NotASCII
}

// isDevice knows CON PRN AUX NUL COM1–9 LPT1–9 in any case, alone or before the first dot: "con",
// "Con.tar.gz" and "nul." are device names, "con .txt", "com0" and "com¹" are not. This is what the
// kernel's ntfs3 driver refuses under its option windows_names.
func isDevice(name string) bool {
	base, _, _ := strings.Cut(name, ".")
	switch len(base) {
	case 3:
		return asciiEqual(base, "con") || asciiEqual(base, "prn") ||
			asciiEqual(base, "aux") || asciiEqual(base, "nul")
	case 4:
		return base[3] >= '1' && base[3] <= '9' && (asciiEqual(base[:3], "com") || asciiEqual(base[:3], "lpt"))
	}
	return false
}

// asciiEqual compares with a lower-case word of the same length. strings.EqualFold would not do: it
// takes K (U+212A) for k.
func asciiEqual(s, lower string) bool {
	for i := 0; i < len(lower); i++ {
		if s[i]|0x20 != lower[i] {
			return false
		}
	}
	return true
}

// Which returns the characters of a name that have one of the traits u, each once, in order of
// appearance. Only traits that single characters have are found: NotASCII, Upper, NotPortable,
// Reserved, LineBreak, HardControl, SoftControl and Bidi. Bytes that are no characters are left out.
func Which(name string, u Traits) string {
	var found []rune
	for len(name) > 0 {
		r, n := utf8.DecodeRuneInString(name)
		name = name[n:]
		if (r != utf8.RuneError || n > 1) && runeTraits(r).Any(u) && !slices.Contains(found, r) {
			found = append(found, r)
		}
	}
	return string(found)
}

// ReservedIn returns the characters of \ : * ? " < > | that a name holds, each once, in order of
// appearance.
func ReservedIn(name string) string { return Which(name, Reserved) }

// UTF16Len returns how many UTF-16 units a path takes: 2 for each character over U+FFFF, 1 for any
// other and for each byte that is not UTF-8.
func UTF16Len(path string) int {
	n := 0
	for _, r := range path {
		n++
		if r > 0xFFFF {
			n++
		}
	}
	return n
}

// FirstParts returns the first n parts of a path, which is all of one that has no more.
func FirstParts(path string, n int) string {
	for i := range len(path) {
		if path[i] == '/' {
			if n--; n == 0 {
				return path[:i]
			}
		}
	}
	return path
}
