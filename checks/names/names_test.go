package names

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// slowLook is Look once more, rule by rule as the rulebook says it, with no thought of speed.
func slowLook(name string) Traits {
	var t Traits
	when := func(holds bool, u Traits) {
		if holds {
			t |= u
		}
	}
	when(regexp.MustCompile(`[A-Z]`).MatchString(name), Upper)
	when(strings.Trim(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-") != "" ||
		regexp.MustCompile(`[^A-Za-z0-9._-]`).MatchString(name), NotPortable)
	when(strings.ContainsAny(name, "\\:*?\"<>|"), Reserved)
	when(strings.ContainsAny(name, "\r\n"), LineBreak)
	when(strings.HasSuffix(name, "."), TrailingDot)
	when(strings.HasSuffix(name, " "), TrailingSpace)
	when(strings.HasPrefix(name, " "), LeadingSpace)
	when(strings.HasPrefix(name, "-"), LeadingHyphen)
	when(regexp.MustCompile(`^(?i:con|prn|aux|nul|com[1-9]|lpt[1-9])(\.|$)`).MatchString(name), Device)
	for i := range len(name) {
		when(name[i] > 0x7F, NotASCII)
	}
	if !validByGrammar(name) {
		return t | Invalid
	}
	for _, r := range name {
		when(slices.Contains(hardControls, r), HardControl)
		when(r == '\t' || r >= 0x7F && r <= 0x9F, SoftControl)
		when(strings.ContainsRune("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069", r), Bidi)
	}
	when(slowNFC(name) != name, NotNFC)
	return t
}

var hardControls = []rune{
	0, 1, 2, 3, 4, 5, 6, 7, 8, 11, 12, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26,
	27, 28, 29, 30, 31, 0xFFFE, 0xFFFF,
}

// validByGrammar follows the grammar of RFC 3629 section 4 (from memory), byte by byte.
func validByGrammar(s string) bool {
	in := func(i int, low, high byte) bool { return i < len(s) && s[i] >= low && s[i] <= high }
	tail := func(i int) bool { return in(i, 0x80, 0xBF) }
	for i := 0; i < len(s); {
		switch {
		case in(i, 0x00, 0x7F): // UTF8-1
			i++
		case in(i, 0xC2, 0xDF) && tail(i+1): // UTF8-2
			i += 2
		case in(i, 0xE0, 0xE0) && in(i+1, 0xA0, 0xBF) && tail(i+2), // UTF8-3
			in(i, 0xE1, 0xEC) && tail(i+1) && tail(i+2),
			in(i, 0xED, 0xED) && in(i+1, 0x80, 0x9F) && tail(i+2),
			in(i, 0xEE, 0xEF) && tail(i+1) && tail(i+2):
			i += 3
		case in(i, 0xF0, 0xF0) && in(i+1, 0x90, 0xBF) && tail(i+2) && tail(i+3), // UTF8-4
			in(i, 0xF1, 0xF3) && tail(i+1) && tail(i+2) && tail(i+3),
			in(i, 0xF4, 0xF4) && in(i+1, 0x80, 0x8F) && tail(i+2) && tail(i+3):
			i += 4
		default:
			return false
		}
	}
	return true
}

// Check value 1: names by their bytes. The counts are arithmetic on UTF-8 (RFC 3629); 255 is
// NAME_MAX of limits.h.
func TestNameLengths(t *testing.T) {
	for _, c := range []struct {
		part       string
		fits       int // how many still fit
		fitsBytes  int
		utf16Units int // of the longest that fits
	}{
		{"a", 255, 255, 255},
		{"\u00e9", 127, 254, 127},    // é in NFC
		{"e\u0301", 85, 255, 170},    // é in NFD
		{"\U0001F3AC", 63, 252, 126}, // 🎬
		{"字", 85, 255, 85},
	} {
		longest := strings.Repeat(c.part, c.fits)
		if len(longest) != c.fitsBytes || len(longest) > NameMax {
			t.Errorf("%d × %s: %d bytes, want %d, at most %d", c.fits, c.part, len(longest), c.fitsBytes, NameMax)
		}
		if over := longest + c.part; len(over) <= NameMax {
			t.Errorf("%d × %s: %d bytes, want more than %d", c.fits+1, c.part, len(over), NameMax)
		}
		if n := UTF16Len(longest); n != c.utf16Units {
			t.Errorf("%d × %s: %d UTF-16 units, want %d", c.fits, c.part, n, c.utf16Units)
		}
	}
}

// Check value 3 (UAX #15: the singleton U+212B, the compatibility character U+FB01).
func TestNormalForms(t *testing.T) {
	if a, b := NFC("\xc3\xa9"), NFC("\x65\xcc\x81"); a != b || a != "\u00e9" {
		t.Errorf("é: %+q and %+q", a, b)
	}
	if got := NFC("\u212B"); got != "\u00C5" {
		t.Errorf("NFC(U+212B) = %+q", got)
	}
	if NFC("\uFB01") == NFC("fi") {
		t.Error("U+FB01 and fi have one NFC")
	}
	if Fold("\uFB01") != Fold("fi") {
		t.Error("U+FB01 and fi are not equal under full folding")
	}
	for _, pair := range [][2]string{{"STRASSE", "straße"}, {"\u212A", "k"}, {"\u1E9E", "ss"}, {"É", "e\u0301"}} {
		if Fold(pair[0]) != Fold(pair[1]) {
			t.Errorf("%q and %q fold to %+q and %+q", pair[0], pair[1], Fold(pair[0]), Fold(pair[1]))
		}
	}
	for _, name := range []string{"a\xffB", "\xff", "e\xcc"} {
		if NFC(name) != name || Fold(name) != name || IsNFC(name) {
			t.Errorf("%q is not UTF-8 and must stay as it is", name)
		}
	}
}

// Check value 4 (RFC 3629; the surrogates' and overlong forms are its section 3's examples, from
// memory).
func TestUTF8(t *testing.T) {
	for name, valid := range map[string]bool{
		"\xFF": false, "\xED\xA0\x80": false, "\xC0\x80": false, "\xF4\x90\x80\x80": false, "\xE2\x82": false,
		"\xF4\x8F\xBF\xBF": true, "\xED\x9F\xBF": true, "\xEE\x80\x80": true, "\xF0\x90\x80\x80": true, "\xF0\x8F\xBF\xBF": false,
	} {
		for _, s := range []string{name, "a" + name, name + "a", "a" + name + "a", "é" + name + "é"} {
			if got := !Look(s).Any(Invalid); got != valid {
				t.Errorf("% x: valid %v, want %v", s, got, valid)
			}
		}
	}
}

// Every byte alone, first, last and in the middle, beside ASCII and beside other text, against the
// rules said once more.
func TestLookEveryByte(t *testing.T) {
	for b := range 256 {
		for _, format := range []string{"%s", "%sa", "a%s", "a%sa", "%s%[1]s", "é%s", "%sé", "con%s", "con.%s", "%scon"} {
			name := fmt.Sprintf(format, string([]byte{byte(b)}))
			if got, want := Look(name), slowLook(name); got != want {
				t.Errorf("%q: traits %v, want %v", name, got, want)
			}
		}
	}
}

// Every character that UTF-8 can hold, against the rules said once more; the surrogates, which it
// cannot, are invalid.
func TestLookEveryCharacter(t *testing.T) {
	class := unicodeClasses(t)
	form := unicodeForms(t)
	var buf [4]byte
	for r := rune(1); r <= utf8.MaxRune; r++ {
		if r >= 0xD800 && r <= 0xDFFF {
			s := string([]byte{0xED, byte(0x80 | r>>6&0x3F), byte(0x80 | r&0x3F)})
			if got := Look(s); got != Invalid|NotASCII|NotPortable {
				t.Errorf("surrogate U+%04X: traits %v", r, got)
			}
			continue
		}
		s := string(buf[:utf8.EncodeRune(buf[:], r)])
		got := Look(s)
		var want Traits
		if r > 0x7F {
			want = NotASCII
		}
		if !(r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r == '_' || r == '-') {
			want |= NotPortable
		}
		if r >= 'A' && r <= 'Z' {
			want |= Upper
		}
		switch {
		case r == '\n' || r == '\r':
			want |= LineBreak
		case r == '\t' || r >= 0x7F && r <= 0x9F:
			want |= SoftControl
		case r < 0x20 || r == 0xFFFE || r == 0xFFFF:
			want |= HardControl
		case r == ' ':
			want |= LeadingSpace | TrailingSpace
		case r == '.':
			want |= TrailingDot
		case r == '-':
			want |= LeadingHyphen
		case strings.ContainsRune("\\:*?\"<>|", r):
			want |= Reserved
		}
		if class.bidi[r] {
			want |= Bidi
		}
		if c, listed := form.nfc[r]; listed && c != s || r >= 0xAC00 && r <= 0xD7A3 && form.nfc[r] != s {
			want |= NotNFC
		}
		if got != want {
			t.Errorf("U+%04X: traits %v, want %v", r, got, want)
		}
		if Which(s, characters|LineBreak) != "" != got.Any(HardControl|SoftControl|Bidi|LineBreak) {
			t.Errorf("U+%04X: Which %q, traits %v", r, Which(s, characters|LineBreak), got)
		}
	}
}

func TestLook(t *testing.T) {
	for name, want := range map[string]Traits{
		"":                     0,
		"clip_0001.mov":        0,
		"Take 2.mov":           Upper | NotPortable,
		"con":                  Device,
		"Con.tar.gz":           Device | Upper,
		"nul.":                 Device | TrailingDot,
		"COM1":                 Device | Upper,
		"lpt9.txt":             Device,
		"com0":                 0,
		"com10":                0,
		"console":              0,
		"xcon":                 0,
		".con":                 0,
		"con ":                 NotPortable | TrailingSpace,
		"con .txt":             NotPortable,
		"com\u00b9":            NotASCII | NotPortable,
		"prn\xff":              NotASCII | NotPortable | Invalid,
		"prn.\xff":             NotASCII | NotPortable | Invalid | Device,
		"a\n\x01\u202e\xff":    NotASCII | NotPortable | Invalid | LineBreak,
		"a\x01\t\u202e":        NotASCII | NotPortable | HardControl | SoftControl | Bidi,
		"e\u0301.mov":          NotASCII | NotPortable | NotNFC,
		"\u00e9.mov":           NotASCII | NotPortable,
		" -x. ":                NotPortable | LeadingSpace | TrailingSpace,
		"-x.":                  LeadingHyphen | TrailingDot,
		"a:b":                  NotPortable | Reserved,
		"a/b":                  NotPortable, // no name, but no reason to stumble
		"\ufffd":               NotASCII | NotPortable,
		"\U000e0001\U0010ffff": NotASCII | NotPortable,
	} {
		if got := Look(name); got != want {
			t.Errorf("%q: traits %v, want %v", name, got, want)
		}
		if slow := slowLook(name); slow != want {
			t.Errorf("%q: traits the slow way %v, want %v", name, slow, want)
		}
	}
}

func TestWhich(t *testing.T) {
	for _, c := range []struct {
		name string
		u    Traits
		want string
	}{
		{`a:b?c:d"e`, Reserved, `:?"`},
		{`\:*?"<>|`, Reserved, `\:*?"<>|`},
		{"plain", Reserved, ""},
		{"\u202ea\x01b\u202e\t", Bidi | HardControl | SoftControl, "\u202e\x01\t"},
		{"\xffa:\xff", NotASCII | Reserved, ":"},
		{"\xef\xbf\xbd\xef", NotASCII, "\ufffd"},
		{"\r\n\r", LineBreak, "\r\n"},
	} {
		if got := Which(c.name, c.u); got != c.want {
			t.Errorf("Which(%q, %b) = %q, want %q", c.name, c.u, got, c.want)
		}
	}
	if got := ReservedIn("<a>"); got != "<>" {
		t.Errorf("ReservedIn = %q", got)
	}
}

// The standard library's encoder counts too.
func TestUTF16Len(t *testing.T) {
	all := strings.Builder{}
	for r := rune(1); r <= utf8.MaxRune; r += 97 {
		all.WriteRune(r)
	}
	for _, s := range []string{"", "abc", "é字🎬", "\xff", "a\xed\xa0\x80b", all.String()} {
		if got, want := UTF16Len(s), len(utf16.Encode([]rune(s))); got != want {
			t.Errorf("UTF16Len(%.20q) = %d, want %d", s, got, want)
		}
	}
}

// What every file of a disk goes through must not burden the collector.
func TestNoAllocations(t *testing.T) {
	var sink Traits
	for what, f := range map[string]func(){
		"Look ASCII":       func() { sink |= Look("A001_C002_0415QX take 2.mov") },
		"Look NFC":         func() { sink |= Look("été 字幕 🎬.mov") },
		"NFC ASCII":        func() { _ = NFC("A001_C002.mov") },
		"NFC NFC":          func() { _ = NFC("été 字幕.mov") },
		"IsNFC":            func() { _ = IsNFC("été 字幕.mov") },
		"Fold lower ASCII": func() { _ = Fold("a001_c002.mov") },
		"Quote plain":      func() { _ = Quote("A001_C002 été 字幕.mov") },
		"UTF16Len":         func() { _ = UTF16Len("a/é/字/🎬") },
	} {
		if n := testing.AllocsPerRun(100, f); n != 0 {
			t.Errorf("%s: %v allocations", what, n)
		}
	}
	_ = sink
}

func TestLimitsAgreeWithTables(t *testing.T) {
	if norm.Version < "15.0.0" {
		t.Errorf("the normal forms are those of Unicode %s, older than the test data", norm.Version)
	}
	if PathMax != 4096-1 || PosixPathMax != 256-1 {
		t.Error("a limit with the NUL that ends a path is one more than the longest path")
	}
}

func TestFirstParts(t *testing.T) {
	for _, c := range []struct {
		path string
		n    int
		want string
	}{
		{"", 1, ""},
		{"a", 1, "a"},
		{"a/b/c", 1, "a"},
		{"a/b/c", 2, "a/b"},
		{"a/b/c", 3, "a/b/c"},
		{"a/b/c", 4, "a/b/c"},
	} {
		if got := FirstParts(c.path, c.n); got != c.want {
			t.Errorf("the first %d parts of %q: %q, want %q", c.n, c.path, got, c.want)
		}
	}
}
