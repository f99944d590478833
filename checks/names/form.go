package names

import (
	"bytes"
	"slices"
	"sync"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// joiner is U+034F. x/text/unicode/norm puts one into any run of more than 30 combining marks
// (Stream-Safe Text Format, UAX #15 section 13), so that its output there is neither NFC nor NFD. A
// joiner that was not in the input tells; such names take the slow way below.
var joiner = []byte("\u034F")

// caser applies the mappings C and F of CaseFolding.txt. Fold's documentation promises that it has
// no state and is safe for concurrent use.
var caser = cases.Fold()

// IsNFC reports whether a name is in Normalization Form C. False for a name that is not valid UTF-8.
func IsNFC(name string) bool { return utf8.ValidString(name) && isNFC(name) }

// isNFC is IsNFC for a valid name. Unlike norm.NFC.IsNormalString, QuickSpanString does not allocate.
func isNFC(name string) bool {
	if norm.NFC.QuickSpanString(name) == len(name) {
		return true
	}
	f := folders.Get().(*folder)
	defer folders.Put(f)
	f.a = append(f.a[:0], name...)
	f.b = appendNFC(f.b[:0], f.a)
	return bytes.Equal(f.a, f.b)
}

// NFC returns the Normalization Form C of a name (UAX #15). A name that is not valid UTF-8 is
// returned as it is.
func NFC(name string) string {
	if norm.NFC.QuickSpanString(name) == len(name) || !utf8.ValidString(name) {
		return name
	}
	return string(appendNFC(nil, []byte(name)))
}

// Fold returns the form under which names that differ in case only are equal: NFD, then full case
// folding, then NFD (The Unicode Standard, section 3.13, D145). It can be three times as long as
// the name. A name that is not valid UTF-8 is returned as it is.
func Fold(name string) string {
	t := bytesOf(name)
	if !t.Any(NotASCII|Upper) || !utf8.ValidString(name) {
		return name
	}
	f := folders.Get().(*folder)
	defer folders.Put(f)
	return string(f.form(name, t))
}

var folders = sync.Pool{New: func() any { return new(folder) }}

// A folder folds names without allocating, once its buffers are as large as the names.
type folder struct{ a, b []byte }

// form is Fold for a valid name with its traits. The result holds until the next call.
func (f *folder) form(name string, t Traits) []byte {
	if !t.Any(NotASCII) {
		return f.lower(name)
	}
	f.a = append(f.a[:0], name...)
	f.b = appendNFD(f.b[:0], f.a)
	f.a = appendFolded(f.a[:0], f.b)
	f.b = appendNFD(f.b[:0], f.a)
	return f.b
}

// lower is form for an ASCII name.
func (f *folder) lower(name string) []byte {
	f.b = append(f.b[:0], name...)
	lower(f.b)
	return f.b
}

func lower(ascii []byte) {
	for i, c := range ascii {
		if c >= 'A' && c <= 'Z' {
			ascii[i] = c | 0x20
		}
	}
}

func appendNFC(dst, src []byte) []byte {
	n := len(dst)
	dst = norm.NFC.Append(dst, src...)
	if bytes.Count(dst[n:], joiner) > bytes.Count(src, joiner) {
		dst = dst[:n]
		for _, r := range compose(decompose(src)) {
			dst = utf8.AppendRune(dst, r)
		}
	}
	return dst
}

// appendNFD appends the NFD of valid UTF-8. Unlike norm.NFD.Append it does not allocate, but for
// marks that stand out of order, and puts no joiner in.
func appendNFD(dst, src []byte) []byte {
	start, last := len(dst), uint8(0) // class of the last character
	for i := 0; i < len(src); {
		if src[i] < utf8.RuneSelf {
			dst, last = append(dst, src[i]), 0
			i++
			continue
		}
		p := norm.NFD.Properties(src[i:])
		if first := p.LeadCCC(); first != 0 && first < last {
			dst = dst[:start]
			for _, r := range decompose(src) {
				dst = utf8.AppendRune(dst, r)
			}
			return dst
		}
		dst, last = appendDecomposed(dst, src[i:i+p.Size()], p), p.TrailCCC()
		i += p.Size()
	}
	return dst
}

// appendDecomposed appends the decomposition of one character with its properties.
func appendDecomposed(dst, char []byte, p norm.Properties) []byte {
	if d := p.Decomposition(); d != nil {
		return append(dst, d...)
	}
	// Hangul syllables are decomposed by arithmetic (The Unicode Standard, section 3.12).
	const base, l, v, t = 0xAC00, 0x1100, 0x1161, 0x11A7
	const vs, ts, all = 21, 28, 19 * 21 * 28
	if r, _ := utf8.DecodeRune(char); r >= base && r < base+all {
		s := r - base
		dst = utf8.AppendRune(dst, l+s/(vs*ts))
		dst = utf8.AppendRune(dst, v+s/ts%vs)
		if s%ts != 0 {
			dst = utf8.AppendRune(dst, t+s%ts)
		}
		return dst
	}
	return append(dst, char...)
}

// appendFolded appends src with the mappings C and F of CaseFolding.txt applied, which take one character at a
// time. Cherokee capitals (U+13A0–13F5) fold to themselves and their small letters to them, but the caser swaps the
// two (golang.org/issue/46101), so it never sees the capitals; nor ASCII, at which it is slow.
func appendFolded(dst, src []byte) []byte {
	for len(src) > 0 {
		n := 0
		for n < len(src) && src[n] < utf8.RuneSelf {
			n++
		}
		dst = append(dst, src[:n]...)
		lower(dst[len(dst)-n:])
		src = src[n:]
		for n = 0; n < len(src) && cherokeeCapital(src[n:]); {
			n += 3
		}
		dst, src = append(dst, src[:n]...), src[n:]
		for n = 0; n < len(src) && src[n] >= utf8.RuneSelf && !cherokeeCapital(src[n:]); {
			n++
		}
		dst, src = appendCased(dst, src[:n]), src[n:]
	}
	return dst
}

func cherokeeCapital(s []byte) bool {
	return s[0] == 0xE1 && len(s) > 2 && (s[1] == 0x8E && s[2] >= 0xA0 || s[1] == 0x8F && s[2] <= 0xB5)
}

func appendCased(dst, src []byte) []byte {
	for len(src) > 0 {
		dst = slices.Grow(dst, 3*len(src)) // no mapping grows more than threefold
		n, m, err := caser.Transform(dst[len(dst):cap(dst)], src, true)
		dst, src = dst[:len(dst)+n], src[m:]
		if err != nil && n == 0 && m == 0 {
			return append(dst, src...) // never: there is room, and the input is whole
		}
	}
	return dst
}

// decompose returns the NFD of valid UTF-8 straight by the rules D68 and D109 of The Unicode
// Standard, for runs of combining marks of any length and in any order.
func decompose(s []byte) []rune {
	var out []rune
	var ranks []uint8 // canonical combining classes
	var buf [64]byte
	for len(s) > 0 {
		p := norm.NFD.Properties(s)
		d := appendDecomposed(buf[:0], s[:p.Size()], p)
		s = s[p.Size():]
		for len(d) > 0 {
			r, n := utf8.DecodeRune(d)
			out, ranks = append(out, r), append(ranks, norm.NFD.Properties(d).CCC())
			d = d[n:]
		}
	}
	for i := 0; i < len(out); i++ {
		if ranks[i] == 0 {
			continue
		}
		j := i
		for j < len(out) && ranks[j] != 0 {
			j++
		}
		order(out[i:j], ranks[i:j])
		i = j
	}
	return out
}

// order sorts a run of combining marks by class and keeps those of one class in order.
func order(marks []rune, ranks []uint8) {
	type mark struct {
		r    rune
		rank uint8
	}
	run := make([]mark, len(marks))
	for i := range marks {
		run[i] = mark{marks[i], ranks[i]}
	}
	slices.SortStableFunc(run, func(a, b mark) int { return int(a.rank) - int(b.rank) })
	for i := range run {
		marks[i], ranks[i] = run[i].r, run[i].rank
	}
}

// compose returns the NFC of what decompose returned (The Unicode Standard, D117).
func compose(s []rune) []rune {
	out := s[:0]
	starter := -1 // index in out
	last := uint8(0)
	for _, r := range s {
		rank := norm.NFC.PropertiesString(string(r)).CCC()
		// A mark is blocked from its starter by one of its own or a higher class between them,
		// and a starter by anything between them.
		adjacent := starter == len(out)-1
		if starter >= 0 && (adjacent || last != 0 && last < rank) {
			if c, ok := pair(out[starter], r); ok {
				out[starter] = c
				continue
			}
		}
		if rank == 0 {
			starter = len(out)
		}
		last = rank
		out = append(out, r)
	}
	return out
}

// pair returns the primary composite of two characters.
func pair(a, b rune) (rune, bool) {
	s := norm.NFC.String(string([]rune{a, b}))
	r, n := utf8.DecodeRuneInString(s)
	return r, n == len(s)
}
