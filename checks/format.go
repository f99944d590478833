package checks

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/dustin/go-humanize"
	"github.com/dustin/go-humanize/english"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// Bytes returns a size for people in units of 1000 (IEC 80000-13): "1.8 TB", "512 B".
func Bytes(n int64) string {
	if n < 0 {
		return "-" + Bytes(-max(n, -math.MaxInt64))
	}
	return humanize.Bytes(uint64(n))
}

// Count returns a number with thousands set apart: "412,906".
func Count(n int64) string { return humanize.Comma(n) }

// Plural returns a count with its noun in the right number: "1 file", "2 files", "2 entries", "2 boxes",
// "2 files or folders". It knows regular nouns only.
func Plural(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	nouns := strings.Split(noun, " or ")
	for i, s := range nouns {
		nouns[i] = english.PluralWord(2, s, "")
	}
	return Count(n) + " " + strings.Join(nouns, " or ")
}

// Many is Plural for more than a noun: "1 path stays", "2 paths stay".
func Many(n int64, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return Count(n) + " " + more
}

// Capitalize makes the first character of a text a capital.
func Capitalize(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 || first == utf8.RuneError {
		return s
	}
	return string(unicode.ToTitle(first)) + s[size:]
}

// Reason returns the system's words for an error, without the path, which stands beside it anyway and
// could forge a line.
func Reason(err error) string {
	return disk.WithoutPath(err).Error()
}

// Plain returns a text fit for a screen: whatever is not printable in it is escaped as Go does. Names
// in it are better quoted; this is for texts of others, such as errors of the system, that may hold
// names as they are.
func Plain(s string) string {
	if strings.IndexFunc(s, func(r rune) bool { return !strconv.IsPrint(r) || r == utf8.RuneError }) < 0 {
		return s
	}
	var b []byte
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == utf8.RuneError && n == 1:
			b = fmt.Appendf(b, `\x%02x`, s[0])
		case strconv.IsPrint(r):
			b = append(b, s[:n]...)
		default:
			q := strconv.AppendQuoteRuneToASCII(nil, r)
			b = append(b, q[1:len(q)-1]...)
		}
		s = s[n:]
	}
	return string(b)
}

// QuoteList returns the first three names of a list, safe to show.
func QuoteList(list []string) string {
	const most = 3
	shown := make([]string, 0, most+1)
	for i, s := range list {
		if i == most {
			return fmt.Sprintf("%s and %d more", strings.Join(shown, ", "), len(list)-most)
		}
		shown = append(shown, names.Quote(s))
	}
	return strings.Join(shown, ", ")
}

// Rate returns bytes a second for people: "112 MB/s".
func Rate(bytesPerSecond float64) string { return Bytes(int64(bytesPerSecond)) + "/s" }

// LineRate returns bits a second for people: "1 Gb/s".
func LineRate(bits float64) string {
	v, prefix := humanize.ComputeSI(bits)
	return strings.TrimSuffix(strings.TrimSuffix(fmt.Sprintf("%.1f", v), "0"), ".") + " " + prefix + "b/s"
}

// Span returns a duration for people, in its two largest units: "2 h 21 min", "9 days 6 h".
func Span(d time.Duration) string {
	switch {
	case d < 0:
		return "-" + Span(-max(d, -math.MaxInt64))
	case d == 0:
		return "0 s"
	case d < 100*time.Microsecond:
		return strconv.FormatInt(max(1, d.Microseconds()), 10) + " µs"
	case d < time.Second:
		return strconv.FormatFloat(float64(d.Microseconds())/1000, 'f', 1, 64) + " ms"
	case d < 10*time.Second:
		return strings.TrimSuffix(strconv.FormatFloat(d.Seconds(), 'f', 1, 64), ".0") + " s"
	}
	s := int64(d.Round(time.Second) / time.Second)
	two := func(a int64, unit string, b int64, small string) string {
		if b == 0 {
			return fmt.Sprintf("%d %s", a, unit)
		}
		return fmt.Sprintf("%d %s %d %s", a, unit, b, small)
	}
	const minute, hour, day = 60, 3600, 86400
	switch {
	case s < minute:
		return fmt.Sprintf("%d s", s)
	case s < hour:
		return two(s/minute, "min", s%minute, "s")
	case s < day:
		return two(s/hour, "h", s%hour/minute, "min")
	case s < 2*day:
		return two(1, "day", s%day/hour, "h")
	}
	return two(s/day, "days", s%day/hour, "h")
}

// Character returns one character for people, safely: its look where it has one, and its number.
func Character(r rune) string {
	if unicode.IsGraphic(r) && !unicode.IsSpace(r) && !unicode.Is(unicode.M, r) {
		return fmt.Sprintf("%c (U+%04X)", r, r)
	}
	return fmt.Sprintf("U+%04X", r)
}

// ParseRate reads a line rate as people write it, in bits a second: "1Gb/s", "100 Mbit/s", "10M",
// "12.5 MB/s" (bytes). The prefixes k, M, G and T are powers of 1000.
func ParseRate(s string) (float64, error) {
	bad := func() (float64, error) {
		return 0, fmt.Errorf("%q is not a rate; write one like 10Mb/s or 1Gb/s", s)
	}
	t := strings.ReplaceAll(strings.TrimSpace(s), " ", "")
	end := strings.LastIndexAny(t, "0123456789.") + 1
	v, err := strconv.ParseFloat(t[:end], 64)
	// ParseFloat takes hexadecimal and underscores too.
	if err != nil || !(v > 0) || v > 1e15 || strings.ContainsAny(t[:end], "_xX") {
		return bad()
	}
	unit := t[end:]
	for _, per := range []string{"/s", "ps"} {
		unit = strings.TrimSuffix(unit, per)
	}
	bits := 1.0
	if u := strings.TrimSuffix(strings.TrimSuffix(unit, "Byte"), "B"); u != unit {
		unit, bits = u, 8
	} else {
		unit = strings.TrimSuffix(strings.TrimSuffix(unit, "bit"), "b")
	}
	switch unit {
	case "":
	case "k", "K":
		bits *= 1e3
	case "M", "m":
		bits *= 1e6
	case "G", "g":
		bits *= 1e9
	case "T", "t":
		bits *= 1e12
	default:
		return bad()
	}
	return v * bits, nil
}
