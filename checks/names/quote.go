package names

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Quote makes a name or a path safe for screens and reports. One that shows as what it is comes back
// unchanged; any other comes back in the double quotes and escapes of Go, which strconv.Unquote takes
// back. Different names give different results. What is escaped: bytes that are not UTF-8, control
// characters, line and paragraph separators, spaces other than U+0020, characters that format text or
// change its direction, characters without a glyph of their own (Default_Ignorable_Code_Point), private
// and unassigned ones, and a combining mark that has no character to stand on. A name that begins with
// a quotation mark, or begins or ends with a space, and the empty name are quoted too.
func Quote(name string) string {
	if plain(name) {
		return name
	}
	return string(appendQuoted(make([]byte, 0, len(name)+16), name))
}

// QuoteShort shows hostile text in an error: escaped, and cut where it is long.
func QuoteShort(s string) string {
	const most = 80
	if len(s) > most {
		return Quote(strings.ToValidUTF8(s[:most], "")) + "…"
	}
	return Quote(s)
}

func plain(name string) bool {
	if name == "" || name[0] == '"' || name[0] == ' ' || name[len(name)-1] == ' ' {
		return false
	}
	alone := true
	for i, r := range name {
		if r < utf8.RuneSelf {
			if r < 0x20 || r == 0x7F {
				return false
			}
			alone = r == '/'
			continue
		}
		if r == utf8.RuneError {
			if _, n := utf8.DecodeRuneInString(name[i:]); n == 1 {
				return false
			}
		}
		if !shows(r, alone) {
			return false
		}
		alone = false
	}
	return true
}

// shows reports whether a character that is not ASCII can be seen for what it is. Alone says that it
// begins a name.
func shows(r rune, alone bool) bool {
	return unicode.IsPrint(r) && r != 0x2800 && // braille blank: a symbol that shows nothing
		!unicode.Is(unicode.Other_Default_Ignorable_Code_Point, r) &&
		!unicode.Is(unicode.Variation_Selector, r) &&
		!(alone && unicode.IsMark(r))
}

func appendQuoted(dst []byte, name string) []byte {
	const hex = "0123456789abcdef"
	dst = append(dst, '"')
	alone := true
	for len(name) > 0 {
		r, n := utf8.DecodeRuneInString(name)
		switch {
		case r == utf8.RuneError && n == 1:
			dst = append(dst, '\\', 'x', hex[name[0]>>4], hex[name[0]&15])
		case r == '"', r == '\\':
			dst = append(dst, '\\', byte(r))
		case r >= 0x20 && r < 0x7F, r >= utf8.RuneSelf && shows(r, alone):
			dst = append(dst, name[:n]...)
		case r < utf8.RuneSelf:
			s := strconv.AppendQuoteRuneToASCII(nil, r)
			dst = append(dst, s[1:len(s)-1]...)
		case r > 0xFFFF:
			dst = append(dst, '\\', 'U')
			for shift := 28; shift >= 0; shift -= 4 {
				dst = append(dst, hex[r>>shift&15])
			}
		default:
			dst = append(dst, '\\', 'u')
			for shift := 12; shift >= 0; shift -= 4 {
				dst = append(dst, hex[r>>shift&15])
			}
		}
		alone = r == '/'
		name = name[n:]
	}
	return append(dst, '"')
}
