//go:build linux

package before

import (
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode/utf16"

	"golang.org/x/text/unicode/norm"

	"loadline/checks"
)

// The second implementation of every rule on names and paths: slow, obvious, rule by rule as the
// rulebook says it. Bytes and patterns only; the folding comes from CaseFolding.txt itself.

// utf8Grammar is the grammar of RFC 3629 section 4 (from memory): one character a row, the lowest and
// the highest value of each byte.
var utf8Grammar = [][2]string{
	{"\x00", "\x7f"},
	{"\xc2\x80", "\xdf\xbf"},
	{"\xe0\xa0\x80", "\xe0\xbf\xbf"},
	{"\xe1\x80\x80", "\xec\xbf\xbf"},
	{"\xed\x80\x80", "\xed\x9f\xbf"},
	{"\xee\x80\x80", "\xef\xbf\xbf"},
	{"\xf0\x90\x80\x80", "\xf0\xbf\xbf\xbf"},
	{"\xf1\x80\x80\x80", "\xf3\xbf\xbf\xbf"},
	{"\xf4\x80\x80\x80", "\xf4\x8f\xbf\xbf"},
}

func validUTF8(name string) bool {
next:
	for name != "" {
		for _, row := range utf8Grammar {
			low, high := row[0], row[1]
			fits := len(name) >= len(low)
			for i := 0; fits && i < len(low); i++ {
				fits = name[i] >= low[i] && name[i] <= high[i]
			}
			if fits {
				name = name[len(low):]
				continue next
			}
		}
		return false
	}
	return true
}

// foldings reads the mappings C and F of Unicode's own CaseFolding.txt.
var foldings = sync.OnceValue(func() map[rune]string {
	text, err := os.ReadFile("../../testdata/unicode/CaseFolding.txt")
	if err != nil {
		panic(err)
	}
	table := map[rune]string{}
	for line := range strings.Lines(string(text)) {
		f := strings.Split(line, "; ")
		if strings.HasPrefix(line, "#") || len(f) < 3 || f[1] != "C" && f[1] != "F" {
			continue
		}
		to := ""
		for hex := range strings.FieldsSeq(f[2]) {
			r, _ := strconv.ParseUint(hex, 16, 32)
			to += string(rune(r))
		}
		r, _ := strconv.ParseUint(f[0], 16, 32)
		table[rune(r)] = to
	}
	return table
})

// folded is NFD, full case folding, NFD (The Unicode Standard section 3.13, D145).
func folded(name string) string {
	out := ""
	for _, r := range norm.NFD.String(name) {
		if to, ok := foldings()[r]; ok {
			out += to
		} else {
			out += string(r)
		}
	}
	return norm.NFD.String(out)
}

// nameRules returns the rules that hold for one name by itself, and their levels without a share.
func nameRules(name string) map[string]checks.Level {
	found := map[string]checks.Level{}
	rule := func(id string, level checks.Level, holds bool) {
		if holds {
			found[id] = level
		}
	}
	first, last := name[:1], name[len(name)-1:]
	rule("line-break", checks.Fail, strings.Contains(name, "\n") || strings.Contains(name, "\r"))
	for _, c := range []string{`\`, `:`, `*`, `?`, `"`, `<`, `>`, `|`} {
		rule("reserved-character", checks.Warn, strings.Contains(name, c))
	}
	rule("trailing-dot-or-space", checks.Warn, last == "." || last == " ")
	rule("leading-space", checks.Warn, first == " ")
	rule("leading-hyphen", checks.Warn, first == "-")
	const portable = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-"
	for i := range len(name) {
		rule("not-portable", checks.Note, strings.IndexByte(portable, name[i]) < 0)
	}
	rule("name-too-long", checks.Fail, len(name) > 255)
	base := strings.Split(name, ".")[0]
	for _, device := range []string{"CON", "PRN", "AUX", "NUL", "COM#", "LPT#"} {
		for d := '1'; d <= '9'; d++ {
			rule("device-name", checks.Warn, asciiLower(base) == asciiLower(strings.ReplaceAll(device, "#", string(d))))
		}
	}
	if !validUTF8(name) {
		found["invalid-utf8"] = checks.Fail
		return found
	}
	hard, soft, bidi := false, false, false
	for _, r := range name {
		hard = hard || r < 0x20 && r != 0x09 && r != 0x0A && r != 0x0D || r == 0xFFFE || r == 0xFFFF
		soft = soft || r == 0x09 || r == 0x7F || r >= 0x80 && r <= 0x9F
		bidi = bidi || r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x2069 || r == 0x200E || r == 0x200F || r == 0x061C
	}
	rule("control-character", choose(hard, checks.Fail, checks.Warn), hard || soft)
	rule("bidi-control", checks.Warn, bidi)
	rule("not-nfc", checks.Warn, norm.NFC.String(name) != name)
	return found
}

var (
	unfinishedNames = regexp.MustCompile(`(?s)(\.part|\.partial|\.crdownload|\.tmp)$|^~\$|^\..+\.[A-Za-z0-9]{6}$`)
	exactClutter    = regexp.MustCompile(`^(\.DS_Store|\.Spotlight-V100|\.Trashes|\.fseventsd|\.TemporaryItems|lost\+found|\.Trash-[0-9]+)$`)
)

// clutterRules judges one entry by the rules of the check clutter.
func clutterRules(name string, file, magic bool) map[string]checks.Level {
	found := map[string]checks.Level{}
	if isClutterAgain(name) {
		found["desktop-clutter"] = checks.Warn
	}
	if file && len(name) > 2 && strings.HasPrefix(name, "._") && magic {
		found["apple-double"] = checks.Warn
	}
	if file && unfinishedNames.MatchString(name) {
		found["unfinished-file"] = checks.Warn
	}
	return found
}

func isClutterAgain(name string) bool {
	return exactClutter.MatchString(name) ||
		slices.Contains([]string{"Thumbs.db", "desktop.ini", "$RECYCLE.BIN", "System Volume Information"}, name)
}

func asciiLower(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c >= 'A' && c <= 'Z' {
			b[i] = c + 'a' - 'A'
		}
	}
	return string(b)
}

// judged are the rules that the second implementation covers.
var judged = []*checks.Rule{
	nameTooLong, invalidUTF8, lineBreak, controlCharacter, bidiControl, reservedCharacter, trailingDotOrSpace,
	leadingSpace, deviceName, leadingHyphen, notPortable, sameNormalForm, notNFC, caseTwins, pathTooLong,
	keyTooLong, longForWindows, tooDeep, appleDouble, desktopClutter, unfinishedFile, emptyFolder, zeroLength,
}

// again judges a whole tree with the second implementation.
func again(t testing.TB, job checks.Job) map[spot]checks.Level {
	t.Helper()
	want := map[spot]checks.Level{}
	byFolder := map[string][]string{}
	var inClutter []string
	err := filepath.WalkDir(job.Source, func(p string, e os.DirEntry, err error) error {
		if err != nil || p == job.Source {
			return err
		}
		rel := p[len(job.Source)+1:]
		dir, name := path.Split(rel)
		byFolder[dir] = append(byFolder[dir], name)
		for id, level := range nameRules(name) {
			want[spot{id, rel}] = level
		}
		file := e.Type().IsRegular()
		magic := false
		if file {
			text, err := os.ReadFile(p)
			magic = err == nil && strings.HasPrefix(string(text), "\x00\x05\x16\x07")
			if len(text) == 0 {
				want[spot{"zero-length", rel}] = checks.Warn
			}
		}
		for id, level := range clutterRules(name, file, magic) {
			topmost := !slices.ContainsFunc(inClutter, func(c string) bool { return strings.HasPrefix(rel, c+"/") })
			if id != "desktop-clutter" || topmost {
				want[spot{id, rel}] = level
			}
			if id == "desktop-clutter" {
				inClutter = append(inClutter, rel)
			}
		}
		if e.IsDir() {
			if list, err := os.ReadDir(p); err == nil && len(list) == 0 {
				want[spot{"empty-folder", rel}] = checks.Note
			}
			if strings.Count(rel, "/")+1 == 21 {
				want[spot{"too-deep", rel}] = checks.Warn
			}
			return nil
		}
		if !file && e.Type()&os.ModeSymlink == 0 {
			return nil
		}
		key := path.Join(job.Prefix, rel)
		if len(key) > 1024 {
			want[spot{"key-too-long", rel}] = checks.Fail
		}
		if len(key) > 4095 {
			want[spot{"path-too-long", rel}] = checks.Fail
		}
		if len(utf16.Encode([]rune(rel))) > 259 {
			want[spot{"long-for-windows", rel}] = checks.Note
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	type forms struct{ name, nfc, fold string }
	for dir, list := range byFolder {
		var valid []forms
		for _, n := range list {
			if validUTF8(n) {
				valid = append(valid, forms{n, norm.NFC.String(n), folded(n)})
			}
		}
		for _, x := range valid {
			for _, y := range valid {
				a := x.name
				if a == y.name {
					continue
				}
				same := x.nfc == y.nfc
				if same {
					want[spot{"same-normal-form", dir + a}] = checks.Fail
				}
				if !same && x.fold == y.fold {
					want[spot{"case-twins", dir + a}] = checks.Warn
				}
			}
		}
	}
	return want
}

// compareAgain compares a tree with the second implementation, levels included.
func compareAgain(t testing.TB, job checks.Job) {
	t.Helper()
	got, want := spots(examine(t, job), judged...), again(t, job)
	for s, level := range want {
		if l, ok := got[s]; !ok || l != level {
			t.Errorf("second implementation: %s is %s; found %v at %s", s, level, ok, l)
		}
	}
	for s := range got {
		if _, ok := want[s]; !ok {
			t.Errorf("second implementation: not %s", s)
		}
	}
}
