package names

import (
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestQuote(t *testing.T) {
	for name, want := range map[string]string{
		"plain.mov":         "plain.mov",
		"Take 2 – été 字 🎬":  "Take 2 – été 字 🎬",
		"e\u0301.mov":       "e\u0301.mov", // a combining mark on its letter
		`a\nb`:              `a\nb`,
		`a"b'c`:             `a"b'c`,
		"a/b c/d":           "a/b c/d",
		"":                  `""`,
		" a":                `" a"`,
		"a ":                `"a "`,
		`"a"`:               `"\"a\""`,
		`"a\n`:              `"\"a\\n"`,
		"a\nb":              `"a\nb"`,
		"a\r\tb\x00\x1b[2J": `"a\r\tb\x00\x1b[2J"`,
		"a\x7f":             `"a\x7f"`,
		"a\xffb":            `"a\xffb"`,
		"\xed\xa0\x80":      `"\xed\xa0\x80"`,
		"a\u0085b\u009b":    `"a\u0085b\u009b"`,
		"a\u202egpj.exe":    `"a\u202egpj.exe"`,
		"a\u200bb":          `"a\u200bb"`,
		"a\u2028b\u2029":    `"a\u2028b\u2029"`,
		"a\u00a0b\u3000":    `"a\u00a0b\u3000"`,
		"a\ufeff\uffff":     `"a\ufeff\uffff"`,
		"a\U000e0041":       `"a\U000e0041"`,
		"a\U0010ffff":       `"a\U0010ffff"`,
		"\u0301a":           `"\u0301a"`,
		"a/\u0338b\u0301":   `"a/\u0338b` + "\u0301" + `"`,
		"a\u3164b\u2800":    `"a\u3164b\u2800"`,
		"❤\ufe0f":           `"❤\ufe0f"`,
		"\ufffd":            "\ufffd",
	} {
		if got := Quote(name); got != want {
			t.Errorf("Quote(%q) = %s, want %s", name, got, want)
		}
		checkQuote(t, name)
	}
}

// checkQuote holds for every name: what is shown is safe, and the name can be told from it.
func checkQuote(t testing.TB, name string) {
	t.Helper()
	got := Quote(name)
	if !utf8.ValidString(got) || got == "" {
		t.Fatalf("%q shows as %q", name, got)
	}
	for _, r := range got {
		// No control, format, private or unassigned character, no separator, no space but U+0020.
		if !strconv.IsPrint(r) {
			t.Fatalf("%q shows as %q with %U", name, got, r)
		}
	}
	if got == name {
		if strings.HasPrefix(got, `"`) || strings.Trim(got, " ") != got {
			t.Fatalf("%q shows as it is", name)
		}
		return
	}
	if back, err := strconv.Unquote(got); err != nil || back != name {
		t.Fatalf("%q shows as %s, which says %q (%v)", name, got, back, err)
	}
}

// Every character between two letters: escaped if and only if the Unicode Character Database
// (PropList.txt, DerivedCoreProperties.txt) calls it a bidi control, a space or ignorable, or the
// standard library does not call it printable; U+2800 is our own choice.
func TestQuoteEveryCharacter(t *testing.T) {
	class := unicodeClasses(t)
	for r := rune(1); r <= utf8.MaxRune; r++ {
		if r >= 0xD800 && r <= 0xDFFF {
			continue
		}
		name := "a" + string(r) + "b"
		hidden := class.bidi[r] || class.ignorable[r] || class.space[r] && r != ' ' || !strconv.IsPrint(r) || r == 0x2800
		if got := Quote(name) != name; got != hidden {
			t.Errorf("U+%04X: escaped %v, want %v", r, got, hidden)
		}
		if r < 0x3000 || r >= 0xD000 && r < 0x11000 || r >= 0xE0000 && r < 0xE1000 || r%97 == 0 {
			checkQuote(t, string(r))
		}
	}
	for b := range 256 {
		for _, name := range []string{string([]byte{byte(b)}), string([]byte{'a', byte(b)}), string([]byte{byte(b), 'a'})} {
			checkQuote(t, name)
		}
	}
}
