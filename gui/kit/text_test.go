package kit

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// Broken into lines a text loses nothing but spaces, and no line is too wide.
func TestWrap(t *testing.T) {
	squeeze := func(s string) string {
		return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' }), "")
	}
	breaks := func(t interface{ Errorf(string, ...any) }, s string, w float32) {
		lines := wrap(s, w, func(s string) float32 { return float32(utf8.RuneCountInString(s)) })
		if squeeze(strings.Join(lines, "")) != squeeze(s) {
			t.Errorf("%q in %v columns became %q", s, w, lines)
		}
		for _, l := range lines {
			if float32(utf8.RuneCountInString(strings.TrimRight(l, " "))) > w {
				t.Errorf("the line %q of %q is wider than %v", l, s, w)
			}
		}
	}
	breaks(t, "Rename it or skip it: both are fine.", 9)
	breaks(t, "day/01/averyveryverylongname.mov", 7)
	breaks(t, "字字字字字字", 2)
	rapid.Check(t, func(t *rapid.T) { // of valid runes: texts are quoted before they come here
		text := rapid.StringOf(rapid.OneOf(rapid.SampledFrom([]rune(" /\n字")), rapid.RuneFrom(nil, unicode.L, unicode.Nd)))
		breaks(t, text.Draw(t, "text"), float32(rapid.IntRange(1, 40).Draw(t, "columns")))
	})
}

// A text that is cut fits, and keeps what it is cut for.
func TestFit(t *testing.T) {
	width := func(s string) float32 { return float32(utf8.RuneCountInString(s)) }
	for _, c := range []struct {
		text string
		w    float32
		cut  elide
		want string
	}{
		{"short", 10, CutEnd, "short"},
		{"a longer text", 9, CutEnd, "a longer…"},
		{"day 01/camera/take 0001.mov", 16, CutMiddle, ""},
		{"kept whole", 3, noCut, "kept whole"},
	} {
		got := Fit(c.text, c.w, c.cut, width)
		if c.cut != CutMiddle && got != c.want {
			t.Errorf("%q in %v is %q, want %q", c.text, c.w, got, c.want)
		}
		if c.cut != noCut && width(got) > c.w {
			t.Errorf("%q is wider than %v", got, c.w)
		}
		if c.cut == CutMiddle && (!strings.HasPrefix(got, "day") || !strings.HasSuffix(got, ".mov")) {
			t.Errorf("%q has lost an end", got)
		}
	}
}
