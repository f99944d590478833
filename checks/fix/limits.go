package fix

import (
	"cmp"
	"fmt"
	"strings"
	"unicode/utf8"

	"loadline/checks"
	"loadline/checks/names"
)

// limits are what a new name must keep, as the report has them. The zero value, filled, has the usual ones.
type limits struct {
	name   int              // longest name that the share takes, bytes
	key    int              // longest key of the object store, bytes
	path   int              // longest path on the share, bytes
	share  string           // folder of the share, which counts in path; empty while it is not known
	prefix string           // folder on the share that will hold the copy, and so the head of every key
	keeps  *checks.Refusals // what the share was measured not to keep

	portable bool // only the POSIX portable filename character set
	respells bool // the source's disk spells names in a form of its own: see whyRespelled
}

// leastLimit is below what leaves room for start, hash, number and ending.
const leastLimit = 48

// newLimits takes the limits from the states of a report.
func newLimits(rep *checks.Report, w Wishes) limits {
	says := 0
	if rep.Share != nil {
		says = rep.Share.NameMax
	}
	l := limits{
		name: checks.LongestName(rep.Trial, says), key: rep.Job.KeyBytes,
		share: rep.Job.Share, prefix: rep.Job.Prefix, keeps: checks.NewRefusals(rep.Trial),
		portable: w.Portable,
	}
	l.fill()
	return l
}

func (l *limits) fill() {
	l.name = cmp.Or(l.name, names.NameMax)
	l.key = cmp.Or(l.key, checks.DefaultKeyBytes)
	l.path = cmp.Or(l.path, names.PathMax)
	l.share = strings.TrimRight(l.share, "/")
	if l.keeps == nil {
		l.keeps = checks.NewRefusals(nil)
	}
}

func (l *limits) check() error {
	for _, n := range []struct {
		what string
		is   int
	}{{"name", l.name}, {"key", l.key - l.head()}, {"path", l.path - len(l.share) - 1 - l.head()}} {
		if n.is < leastLimit {
			return fmt.Errorf("the %s limit leaves %d bytes, too few for a useful name: give at least %d", n.what, n.is, leastLimit)
		}
	}
	return nil
}

// head is what stands before a relative path in a key.
func (l *limits) head() int {
	if l.prefix == "" {
		return 0
	}
	return len(l.prefix) + 1
}

// pathRoom is how long a relative path may be, and the rule that it would break.
func (l *limits) pathRoom() (bytes int, rule string) {
	key, path := l.key-l.head(), l.path-l.head()
	if l.share != "" {
		path -= len(l.share) + 1
	}
	if path < key {
		return path, rulePathLong
	}
	return key, ruleKeyLong
}

// curable are the traits that no proposed name may have.
const curable = names.Invalid | names.LineBreak | names.HardControl | names.SoftControl | names.Bidi |
	names.Reserved | names.TrailingDot | names.TrailingSpace | names.LeadingSpace | names.Device |
	names.LeadingHyphen | names.NotNFC

// fault says what keeps a name from being given, "" if nothing does. Whether it is free, and whether its
// path fits, is asked elsewhere: that needs the folder and the tree.
func (l *limits) fault(name string) string {
	if len(name) > l.name {
		return fmt.Sprintf("the name is %d bytes, %d fit", len(name), l.name)
	}
	t := names.Look(name)
	unfit := names.Traits(curable)
	if l.respells {
		unfit &^= names.NotNFC // the disk would undo it
	}
	if t.Any(unfit) {
		switch {
		case t.Any(names.Invalid):
			return "the name is not valid UTF-8"
		case t.Any(names.LineBreak):
			return "the name has a line break"
		case t.Any(names.HardControl | names.SoftControl):
			return "the name has a control character"
		case t.Any(names.Bidi):
			return "the name has a character that reverses the direction of text, so it looks different from what it is"
		case t.Any(names.Reserved):
			return "the name has " + spaced(names.ReservedIn(name)) + ", which other systems refuse"
		case t.Any(names.TrailingDot | names.TrailingSpace):
			return "the name ends in a dot or a space"
		case t.Any(names.LeadingSpace):
			return "the name begins with a space"
		case t.Any(names.Device):
			return "other systems reserve the name for a device"
		case t.Any(names.LeadingHyphen):
			return "the name begins with a hyphen, which commands take for an option"
		}
		return "the name is not in Unicode Normalization Form C"
	}
	if l.portable && t.Any(names.NotPortable) {
		return "the name has a character outside A–Z a–z 0–9 . _ -"
	}
	if f, refused := l.keeps.Name(name); refused {
		if f.Rune == 0 {
			return "the share refuses or changes such a name (" + strings.ReplaceAll(f.Habit, "-", " ") + ")"
		}
		return "the share refuses or changes names with " + checks.Character(f.Rune)
	}
	return ""
}

func spaced(s string) string { return strings.Join(strings.Split(s, ""), " ") }

// refuses reports whether the share refuses or changes names with a character of a text.
func (l *limits) refuses(s string) bool {
	if !l.keeps.Any() {
		return false
	}
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		if _, no := l.keeps.Rune(r); no {
			return true
		}
		s = s[n:]
	}
	return false
}
