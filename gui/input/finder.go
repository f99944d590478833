package input

import (
	"strings"
	"unicode/utf8"
)

// A Finder looks for a text in paths, whatever its case. ASCII is folded without an allocation, since
// there may be a million paths.
type Finder struct {
	text  string
	ascii bool
}

// NewFinder looks for what was typed, without the spaces around it; nothing is found in every path.
func NewFinder(s string) Finder {
	s = strings.ToLower(strings.TrimSpace(s))
	f := Finder{text: s, ascii: true}
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			f.ascii = false
		}
	}
	return f
}

// In reports whether the text stands in a path.
func (f Finder) In(s string) bool {
	if f.text == "" {
		return true
	}
	if !f.ascii {
		return strings.Contains(strings.ToLower(s), f.text)
	}
	n := len(f.text)
	for i := 0; i+n <= len(s); i++ {
		j := 0
		for j < n && lower(s[i+j]) == f.text[j] {
			j++
		}
		if j == n {
			return true
		}
	}
	return false
}

func lower(c byte) byte {
	if c >= 'A' && c <= 'Z' {
		c += 'a' - 'A'
	}
	return c
}
