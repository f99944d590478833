package before

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// nameLimit is the longest name that the share takes, in bytes.
func nameLimit(pass *checks.Pass) int {
	says := 0
	if s := checks.StateOf[shareState](pass, ShareMounted); s != nil && s.Facts != nil {
		says = s.Facts.Space.NameLimit
	}
	return checks.LongestName(checks.StateOf[share.Result](pass, shareWrites), says)
}

var (
	nameTooLong = &checks.Rule{
		ID: "name-too-long", Level: checks.Fail,
		When:   "the name has more bytes than the share takes (255 where unknown)",
		Fix:    "Shorten the name; keep its extension.",
		Source: "nfs(5) namlen, limits.h NAME_MAX; measured",
	}
	overPosixName = &checks.Rule{
		ID: "over-posix-name", Level: checks.Note, Counted: true,
		When:   "the name has more than 14 bytes, which is all that POSIX promises",
		Fix:    "Nothing to do on today's systems.",
		Source: "POSIX limits.h _POSIX_NAME_MAX; pathchk -p",
	}
)

type nameLengthState struct {
	limit   int
	longest atomic.Int64
}

var nameLength = &checks.Check{
	ID: "name-length", Title: "No name is too long", Group: checks.GroupNames,
	Doc: "Counts the bytes of every name in UTF-8 and compares with what the share takes. Some disks count " +
		"characters instead: 255 Chinese characters are a valid name there, and 765 bytes here.",
	Fix:   "Shorten the names that are listed; keep their extensions.",
	Rules: []*checks.Rule{nameTooLong, overPosixName},
	Begin: func(pass *checks.Pass) any { return &nameLengthState{limit: nameLimit(pass)} },
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		s := pass.State.(*nameLengthState)
		longest, over := 0, int64(0)
		for i := range d.Entries {
			e := &d.Entries[i]
			n := len(e.Name)
			longest = max(longest, n)
			if n > names.PosixNameMax {
				over++
				if n > s.limit {
					pass.Flag(d, e, nameTooLong, "name is %d bytes, the share takes %d", n, s.limit)
				}
			}
		}
		pass.Count(d, overPosixName, over)
		raise(&s.longest, int64(longest))
	},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		s := pass.State.(*nameLengthState)
		pass.Fact("limit_bytes", s.limit, "Limit: %d bytes", s.limit)
		pass.Fact("longest_bytes", s.longest.Load(), "Longest name: %d bytes", s.longest.Load())
		pass.Summarize("The longest name has %d bytes; the share takes %d.", s.longest.Load(), s.limit)
		return nil
	},
}

// raise lifts a maximum.
func raise(m *atomic.Int64, n int64) {
	for old := m.Load(); n > old && !m.CompareAndSwap(old, n); old = m.Load() {
	}
}

var (
	invalidUTF8 = &checks.Rule{
		ID: "invalid-utf8", Level: checks.Fail,
		When:   "the name is not valid UTF-8",
		Fix:    "Rename it in UTF-8: keys in object stores must be UTF-8.",
		Source: "RFC 3629 §4, utf-8(7)",
	}
	lineBreak = &checks.Rule{
		ID: "line-break", Level: checks.Fail,
		When:   "the name contains a line feed or a carriage return",
		Fix:    "Rename it without the line break: lists of names break there.",
		Source: "RFC 8493 §2.1.3, which must escape them",
	}
	controlCharacter = &checks.Rule{
		ID: "control-character", Level: checks.Fail,
		When:   "the name contains U+0001–001F, U+FFFE or U+FFFF (fails: an XML listing cannot hold them), or TAB, U+007F, U+0080–009F (warns)",
		Fix:    "Rename it without the character.",
		Source: "XML 1.0 §2.2, production Char",
	}
	bidiControl = &checks.Rule{
		ID: "bidi-control", Level: checks.Warn,
		When:   "the name contains a character that reverses the direction of text: what you see is not what it is called",
		Fix:    "Rename it without the character.",
		Source: "Unicode PropList.txt, Bidi_Control; UAX #9",
	}
	reservedCharacter = &checks.Rule{
		ID: "reserved-character", Level: checks.Warn,
		When:   `the name contains one of \ : * ? " < > | (fails if the share refuses it)`,
		Fix:    "Rename it without the character, or it cannot be restored to most disks.",
		Source: "exFAT specification, table of invalid file name characters; kernel documentation of ntfs3",
	}
	trailingDotOrSpace = &checks.Rule{
		ID: "trailing-dot-or-space", Level: checks.Warn,
		When:   "the name ends in a dot or a space",
		Fix:    "Remove it: some systems drop it, and two names become one.",
		Source: "measured: vfat merges “e.” and “e”",
	}
	leadingSpace = &checks.Rule{
		ID: "leading-space", Level: checks.Warn,
		When:   "the name begins with a space",
		Fix:    "Remove it: it is easily lost in lists and scripts.",
		Source: "common practice, no source",
	}
	deviceName = &checks.Rule{
		ID: "device-name", Level: checks.Warn,
		When:   "the name is CON, PRN, AUX, NUL, COM1–9 or LPT1–9, in any case, with or without extension",
		Fix:    "Rename it, or it cannot be restored to a Windows disk.",
		Source: "kernel documentation of ntfs3, option windows_names",
	}
	leadingHyphen = &checks.Rule{
		ID: "leading-hyphen", Level: checks.Warn,
		When:   "the name begins with a hyphen: commands take it for an option",
		Fix:    "Rename it without the hyphen in front.",
		Source: "POSIX.1-2017 XBD 3.282; pathchk -P",
	}
	notPortable = &checks.Rule{
		ID: "not-portable", Level: checks.Note,
		When:   "the name contains a byte outside A–Z a–z 0–9 . _ - (warns with -portable)",
		Fix:    "Nothing to do on today's systems; rename if the archive must be readable everywhere.",
		Source: "POSIX portable filename character set, XBD 3.282; pathchk -p",
	}
)

var nameCharacters = &checks.Check{
	ID: "name-characters", Title: "Names use safe characters", Group: checks.GroupNames,
	Doc: "Looks at every byte of every name. Some characters cannot appear in a key or a listing at all, " +
		"others survive the journey but break on the disk to which you restore.",
	Fix:   "Rename the files that are listed; Loadline proposes names.",
	Rules: []*checks.Rule{invalidUTF8, lineBreak, controlCharacter, bidiControl, reservedCharacter, trailingDotOrSpace, leadingSpace, deviceName, leadingHyphen, notPortable},
	Begin: func(pass *checks.Pass) any {
		return checks.NewRefusals(checks.StateOf[share.Result](pass, shareWrites))
	},
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		refused := pass.State.(*checks.Refusals)
		for i := range d.Entries {
			e := &d.Entries[i]
			if traits := names.LookBriefly(e.Name); traits.Any(anyCharacterRule) {
				judgeCharacters(pass, d, e, traits, refused)
			}
		}
	},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		bad := int64(0)
		for _, r := range pass.Check.Rules {
			if r != notPortable {
				bad += pass.Total(r)
			}
		}
		odd := pass.Total(notPortable)
		pass.Fact("not_portable", odd, "%s with bytes outside the portable set", checks.Plural(odd, "name"))
		switch {
		case bad > 0:
			pass.Summarize("%s to look at; %s with bytes outside the portable set.", checks.Plural(bad, "finding"), checks.Plural(odd, "name"))
		case odd > 0:
			pass.Summarize("None is unsafe; %s with bytes outside the portable set.", checks.Plural(odd, "name"))
		default:
			pass.Summarize("Every name is portable.")
		}
		return nil
	},
}

const anyCharacterRule = names.NotPortable | names.TrailingDot | names.LeadingHyphen | names.Device

func judgeCharacters(pass *checks.Pass, d *walk.Dir, e *walk.Entry, traits names.Traits, refused *checks.Refusals) {
	name := e.Name
	if traits.Any(names.Invalid) {
		pass.Flag(d, e, invalidUTF8, "%s", firstInvalid(name))
	}
	if traits.Any(names.LineBreak) && name != names.FinderIcon {
		pass.Flag(d, e, lineBreak, "%s", characters(name, names.LineBreak))
	}
	if traits.Any(names.HardControl) {
		pass.Flag(d, e, controlCharacter, "%s", characters(name, names.HardControl|names.SoftControl))
	} else if traits.Any(names.SoftControl) {
		pass.FlagLevel(d, e, controlCharacter, checks.Warn, "%s", characters(name, names.SoftControl))
	}
	if traits.Any(names.Bidi) {
		pass.Flag(d, e, bidiControl, "%s", characters(name, names.Bidi))
	}
	if traits.Any(names.Reserved) {
		level, tail := checks.Warn, ""
		for _, c := range names.ReservedIn(name) {
			if _, no := refused.Rune(c); no {
				level, tail = checks.Fail, ", which the share refuses"
				break
			}
		}
		pass.FlagLevel(d, e, reservedCharacter, level, "%s%s", characters(name, names.Reserved), tail)
	}
	switch {
	case traits.Any(names.TrailingDot):
		pass.Flag(d, e, trailingDotOrSpace, "ends in a dot")
	case traits.Any(names.TrailingSpace):
		pass.Flag(d, e, trailingDotOrSpace, "ends in a space")
	}
	if traits.Any(names.LeadingSpace) {
		pass.Flag(d, e, leadingSpace, "begins with a space")
	}
	if traits.Any(names.Device) {
		base, _, _ := strings.Cut(name, ".")
		pass.Flag(d, e, deviceName, "%s", strings.ToUpper(base)+" is a device name")
	}
	if traits.Any(names.LeadingHyphen) {
		pass.Flag(d, e, leadingHyphen, "begins with a hyphen")
	}
	if traits.Any(names.NotPortable) {
		level := checks.Note
		if pass.Job.Portable {
			level = checks.Warn
		}
		pass.FlagLevel(d, e, notPortable, level, "outside A–Z a–z 0–9 . _ -")
	}
}

// characters names the characters of a name that have a trait.
func characters(name string, traits names.Traits) string {
	var list []string
	for _, r := range names.Which(name, traits) {
		list = append(list, checks.Character(r))
	}
	return "holds " + strings.Join(list, ", ")
}

// firstInvalid tells where a name stops being UTF-8.
func firstInvalid(name string) string {
	for i, r := range name {
		if r == '\uFFFD' && !strings.HasPrefix(name[i:], "\uFFFD") {
			return fmt.Sprintf("byte 0x%02X at position %d is not UTF-8", name[i], i+1)
		}
	}
	return "not UTF-8"
}
