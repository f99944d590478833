package fix

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// Encoding is an old one in which bytes that are not UTF-8 may be meant.
type Encoding uint8

// The encodings, in the order in which they are preferred where a name fits several equally.
const (
	Latin1 Encoding = iota // ISO/IEC 8859-1
	Windows1252
	MacRoman
	// Surrogates are pairs of UTF-16 surrogates, each written as if it were a character of its own
	// (CESU-8, Unicode Technical Report #26).
	Surrogates
)

var encodings = []Encoding{Latin1, Windows1252, MacRoman, Surrogates}

// String returns the name that people know.
func (e Encoding) String() string {
	return [...]string{"Latin-1", "Windows-1252", "Mac Roman", "UTF-16 surrogates"}[e]
}

func (e Encoding) byte(b byte) rune {
	switch e {
	case Windows1252:
		return charmap.Windows1252.DecodeByte(b)
	case MacRoman:
		return charmap.Macintosh.DecodeByte(b)
	}
	return rune(b)
}

// decode reads every byte of a text that is not part of valid UTF-8 as one of the encoding. Bytes
// without a meaning there become "_", so that none is dropped.
func (e Encoding) decode(s string) string {
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		if r == utf8.RuneError && n == 1 {
			if pair, ok := surrogatePair(s); ok && e == Surrogates {
				b.WriteRune(pair)
				s = s[6:]
				continue
			}
			if r = e.byte(s[0]); r == utf8.RuneError || unicode.IsControl(r) {
				r = '_'
			}
		}
		b.WriteRune(r)
		s = s[n:]
	}
	return b.String()
}

// surrogatePair reads ED A0–AF xx ED B0–BF xx, which is what UTF-16 becomes when each half of a
// pair is encoded alone.
func surrogatePair(s string) (rune, bool) {
	if len(s) < 6 || s[0] != 0xED || s[1]&0xF0 != 0xA0 || s[2]&0xC0 != 0x80 ||
		s[3] != 0xED || s[4]&0xF0 != 0xB0 || s[5]&0xC0 != 0x80 {
		return 0, false
	}
	high := rune(s[1]&0x0F)<<6 | rune(s[2]&0x3F)
	low := rune(s[4]&0x0F)<<6 | rune(s[5]&0x3F)
	return 0x10000 + high<<10 + low, true
}

// likeliest guesses which encoding the bytes that are not UTF-8 are meant in, by what they would
// spell: letters between letters of the same case are likely, signs in the middle of words are not.
func likeliest(s string) Encoding {
	if utf8.ValidString(s) {
		return Latin1
	}
	best, most := Latin1, 0
	for i, e := range encodings {
		if n := e.score(s); i == 0 || n > most {
			best, most = e, n
		}
	}
	return best
}

func (e Encoding) score(s string) int {
	type letter struct {
		r     rune
		guess bool
	}
	var text []letter
	score := 0
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		guess := r == utf8.RuneError && n == 1
		if guess {
			if pair, ok := surrogatePair(s); ok && e == Surrogates {
				score += 40
				text = append(text, letter{pair, false})
				s = s[6:]
				continue
			}
			r = e.byte(s[0])
		}
		text = append(text, letter{r, guess})
		s = s[n:]
	}
	at := func(i int) rune {
		if i < 0 || i >= len(text) {
			return ' '
		}
		return text[i].r
	}
	for i, c := range text {
		if !c.guess {
			continue
		}
		score += plausible(at(i-1), c.r, at(i+1))
	}
	return score
}

// common are the letters outside ASCII that western European languages use most.
var common = []rune("äöüßéèêàâáíóúñçåøæÄÖÜÉÅØ")

// plausible scores one guessed character between its neighbours. The weights are common practice,
// no source; the cases in the tests say what they must tell apart.
func plausible(before, r, after rune) int {
	left, right := unicode.IsLetter(before), unicode.IsLetter(after)
	switch {
	case r == utf8.RuneError, unicode.IsControl(r):
		return -20
	case unicode.IsLetter(r):
		n := 2
		if slices.Contains(common, r) {
			n += 3
		}
		if unicode.IsUpper(r) && (unicode.IsLower(before) || left && unicode.IsLower(after)) {
			n -= 5 // a capital in the middle of a word
		}
		if unicode.IsLower(r) && unicode.IsUpper(after) {
			n -= 5 // and the other way round
		}
		if !left && !right {
			n -= 4 // a letter alone
		}
		return n
	}
	// What word processors and keyboards put into names by themselves, where it belongs.
	switch r {
	case '’', '‘':
		if left || right {
			return 6
		}
	case '“', '„', '”':
		if left != right {
			return 6
		}
	case '–', '—', '°', '…':
		if !left || !right {
			return 4
		}
	}
	if left || right {
		return -4
	}
	return -1
}

// A Choice is one way to read a name that is not valid UTF-8.
type Choice struct {
	Encoding Encoding
	Name     string // the new name, last part only
}

// choices returns the different names that the encodings give, the likeliest first.
func (l *limits) choices(name string) []Choice {
	if utf8.ValidString(name) {
		return nil
	}
	first := likeliest(name)
	all := []Choice{{first, l.propose(name, first)}}
	for _, e := range encodings {
		c := Choice{e, l.propose(name, e)}
		if !slices.ContainsFunc(all, func(have Choice) bool { return have.Name == c.Name }) {
			all = append(all, c)
		}
	}
	return all
}
