package fix

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"loadline/checks/names"
)

// Lengths of what shortening makes, in bytes.
const (
	hashDigits = 8                  // of SHA-256 in hex: two of a million long names share one with p ≈ 1e-4 a folder of 1,000
	leastStart = 4                  // of the old stem that shortening leaves at least
	leastName  = 1 + hashDigits + 2 // shortest name that shortening can make
	suffixMost = 16                 // longest ending that counts as an extension
)

// split parts a name into what names the thing and the ending that says what it is: ".mov",
// ".tar.gz" gives ".gz", a leading dot begins no ending. Dots and spaces that stand last belong to
// the ending, so that "clip.mov." and "clip.mov" are of one stem.
func split(name string) (stem, suffix string) {
	bare := strings.TrimRight(name, ". ")
	dot := strings.LastIndexByte(bare, '.')
	if dot > 0 && len(bare)-dot-1 <= suffixMost && !strings.ContainsAny(bare[dot:], " ") && strings.Trim(bare[:dot], ". ") != "" {
		return name[:dot], name[dot:]
	}
	return bare, name[len(bare):]
}

// cureText makes a text valid UTF-8 in NFC without any character that a rule speaks of.
func (l *limits) cureText(s string, enc Encoding) string {
	if !utf8.ValidString(s) {
		s = enc.decode(s)
	}
	var b strings.Builder
	for _, r := range names.NFC(s) {
		b.WriteString(l.cureRune(r))
	}
	return names.NFC(b.String())
}

func (l *limits) cureRune(r rune) string {
	out := string(r)
	switch t := names.Look("x" + out + "x"); {
	case t.Any(names.Bidi):
		return "" // it shows nothing, so nothing that shows is lost
	case r == ':', r == '|', r == '\\':
		out = "-"
	case r == '"':
		out = "'"
	case t.Any(names.Reserved | names.LineBreak | names.HardControl | names.SoftControl):
		out = "_"
	}
	if l.portable && strings.Trim(out, portable) != "" {
		out = plainLetter(out)
	}
	if l.refuses(out) {
		out = "_"
	}
	return out
}

const portable = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-"

// plainLetter returns é as e and ß as ss: the portable letters that a character is made of, "_"
// where there are none.
func plainLetter(s string) string {
	if plain, ok := plainLetters[s]; ok {
		return plain
	}
	var b strings.Builder
	for _, r := range norm.NFKD.String(s) {
		if r < utf8.RuneSelf && strings.ContainsRune(portable, r) {
			b.WriteRune(r)
		}
	}
	if b.Len() == 0 {
		return "_"
	}
	return b.String()
}

// plainLetters stand for letters that Unicode does not take apart.
var plainLetters = map[string]string{"ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O"}

// cureStem cures the stem of a family; the ending follows it.
func (l *limits) cureStem(stem string, enc Encoding) string {
	s := strings.TrimLeft(l.cureText(stem, enc), " ")
	if strings.HasPrefix(s, "-") {
		s = "_" + s[1:]
	}
	if names.Look(s).Any(names.Device) {
		head, rest, dotted := strings.Cut(s, ".")
		s = head + "_"
		if dotted {
			s += "." + rest
		}
	}
	if strings.Trim(s, ". ") == "" {
		s = strings.Repeat("_", max(1, len(strings.Trim(s, " "))))
	}
	return s
}

// cureSuffix cures the ending of a name.
func (l *limits) cureSuffix(suffix string, enc Encoding) string {
	return strings.TrimRight(l.cureText(suffix, enc), ". ")
}

// build joins a cured stem, the number that keeps it apart and the ending, within most bytes. Where
// that is too little room it keeps the start of the stem, a hash of the old one and the ending.
func (l *limits) build(stem, number, suffix, hash string, most int) string {
	if len(stem)+len(number)+len(suffix) <= most {
		return l.tidy(stem + number + suffix)
	}
	tail := "-" + hash + number
	room := most - len(tail) - len(suffix)
	if room < leastStart && len(suffix) > suffixMost {
		suffix = cut(suffix, max(0, len(suffix)+room-leastStart))
		suffix = strings.TrimRight(suffix, ". ")
		room = most - len(tail) - len(suffix)
	}
	start := strings.TrimRight(cut(stem, max(0, room)), " .-_")
	if start == "" {
		tail = tail[1:]
	}
	return l.tidy(start + tail + suffix)
}

// tidy makes sure of the result, whatever was put together: a name that still breaks a rule by its
// characters becomes plain.
func (l *limits) tidy(name string) string {
	name = strings.TrimRight(name, ". ")
	if name != "" && l.tidied(name) {
		return name
	}
	b := []byte(name)
	for i, c := range b {
		if !strings.ContainsRune(portable, rune(c)) {
			b[i] = '_'
		}
	}
	if len(b) == 0 || b[0] == '-' || names.Look(string(b)).Any(names.Device) {
		return "_" + string(b[min(1, len(b)):])
	}
	return string(b)
}

// tidied reports whether a name is fit to be given, whatever its length.
func (l *limits) tidied(name string) bool {
	long := *l
	long.name = len(name)
	return long.fault(name) == "" && !names.Look(name).Any(names.NotNFC)
}

// cut returns at most n bytes from the start of a valid text. It never parts a letter from its
// marks, nor a sign from what is joined to it.
func cut(s string, n int) string {
	if n >= len(s) {
		return s
	}
	for n > 0 {
		for n > 0 && !utf8.RuneStart(s[n]) {
			n--
		}
		r, _ := utf8.DecodeRuneInString(s[n:])
		before, _ := utf8.DecodeLastRuneInString(s[:n])
		if !joins(r) && before != zeroWidthJoiner && norm.NFC.PropertiesString(s[n:]).BoundaryBefore() {
			break
		}
		n--
	}
	return s[:max(0, n)]
}

const zeroWidthJoiner = '\u200D'

// joins reports whether a character belongs to the one before it.
func joins(r rune) bool {
	return unicode.IsMark(r) || r == zeroWidthJoiner || unicode.Is(unicode.Variation_Selector, r) ||
		r >= 0x1F3FB && r <= 0x1F3FF // skin tones (Unicode Technical Standard #51)
}

// hashOf returns the short hash that stands in a shortened name. It comes from the old bytes, so it
// is the same in every run, and two long names that begin alike stay apart.
func hashOf(raw string) string {
	sum := sha256.Sum256([]byte(raw))
	return hex.EncodeToString(sum[:])[:hashDigits]
}

// single returns the name that a plan would give to a single file or folder that must have another: the
// smallest change after which the limits hold. What it returns is valid UTF-8 in NFC, and is the same
// for the same name in every run. A name within the limits comes back unchanged. Whether the name is
// free in its folder is not its business.
func (l *limits) single(name string) string {
	if l.fault(name) == "" {
		return name
	}
	return l.propose(name, likeliest(name))
}

func (l *limits) propose(name string, enc Encoding) string {
	stem, suffix := split(name)
	return l.build(l.cureStem(stem, enc), "", l.cureSuffix(suffix, enc), hashOf(stem), l.name)
}
