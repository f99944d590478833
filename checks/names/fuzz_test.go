package names

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

var seeds = []string{
	"", "a", "A001_C002.mov", "con.txt", "LPT9", " -x.", "a\nb\r", "a\x01\t\u0085", "\u202egpj.exe", "é", "e\u0301",
	"straße", "STRASSE", "\u212a", "\ufb01", "\u13a0\uab70", "\xff", "\xed\xa0\x80", "\xf4\x90\x80\x80", "\ufffe\uffff", `"q"`, `\n`,
	"e" + strings.Repeat("\u0301\u0323", 40), "\u0344\u0345\u1f82", "\u1100\u1161\u11a8", "🎬 字", "\u034f\u0301\u034f",
}

func FuzzLook(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		got := Look(name)
		if want := slowLook(name); got != want && known(name) {
			t.Errorf("%+q: traits %b, want %b", name, got, want)
		}
		for _, u := range []Traits{Reserved, LineBreak, HardControl, SoftControl, Bidi} {
			if !got.Any(Invalid) && got.Any(u) != (Which(name, u) != "") {
				t.Errorf("%+q: traits %b, but Which(%b) = %q", name, got, u, Which(name, u))
			}
		}
		if got.Any(Invalid) == utf8.ValidString(name) || IsNFC(name) == got.Any(Invalid|NotNFC) {
			t.Errorf("%+q: traits %b, IsNFC %v", name, got, IsNFC(name))
		}
	})
}

func FuzzFold(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		form, fold := NFC(name), Fold(name)
		if !utf8.ValidString(name) {
			if form != name || fold != name {
				t.Errorf("%+q is not UTF-8, but became %+q, %+q", name, form, fold)
			}
			return
		}
		if NFC(form) != form || !IsNFC(form) || Fold(form) != fold {
			t.Errorf("%+q: NFC %+q is not stable: %+q, Fold %+q", name, form, NFC(form), Fold(form))
		}
		if !known(name) {
			return
		}
		if want := slowNFC(name); form != want {
			t.Errorf("NFC(%+q) = %+q, want %+q", name, form, want)
		}
		if want := slowFold(name); fold != want {
			t.Errorf("Fold(%+q) = %+q, want %+q", name, fold, want)
		}
	})
}

func FuzzQuote(f *testing.F) {
	for i, s := range seeds {
		f.Add(s, seeds[(i+1)%len(seeds)])
	}
	f.Add("a\nb", `"a\nb"`)
	f.Fuzz(func(t *testing.T, a, b string) {
		checkQuote(t, a)
		checkQuote(t, b)
		checkQuote(t, Quote(a))
		if a != b && (Quote(a) == Quote(b) || Quote(Quote(b)) == Quote(a) && Quote(b) != a) {
			t.Errorf("%+q and %+q show as %s and %s", a, b, Quote(a), Quote(b))
		}
	})
}

// The names of a folder are the parts of one text between slashes.
func FuzzTwins(f *testing.F) {
	f.Add(strings.Join(seeds, "/"))
	f.Add("a/A/b/B/B ")
	f.Add("é/e\u0301/É/ß/ss/SS/\u1e9e/\u212a/k/K")
	f.Fuzz(func(t *testing.T, folder string) {
		if !known(folder) || len(folder) > 2000 {
			return
		}
		var names []string
		for s := range strings.SplitSeq(folder, "/") {
			if s != "" && !slices.Contains(names, s) {
				names = append(names, s)
			}
		}
		var finder Twins
		checkTwins(t, &finder, names)
	})
}
