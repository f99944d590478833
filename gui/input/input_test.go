package input

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// What a field shows of a path is read back as the same path, whatever its bytes.
func FuzzPathField(f *testing.F) {
	for _, s := range []string{"/media/a b", "/a\xff", "/\u202egnp.exe", `/"quoted"`, "/line\nbreak", " /lead", "/trail ", `"`, "''"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, path string) {
		shown := ShowPath(path)
		if strings.ContainsAny(shown, "\n\r\x1b\u202e\u2066") || !utf8.ValidString(shown) {
			t.Errorf("%q is shown as %q", path, shown)
		}
		if path != "" && Path(shown) != path {
			t.Errorf("%q is shown as %q and read back as %q", path, shown, Path(shown))
		}
		list := []string{path, "/other"}
		if got := Paths(ShowPaths(list)); path != "" && (len(got) != 2 || got[0] != path || got[1] != "/other") {
			t.Errorf("%q and another are read back as %q", path, got)
		}
	})
}

// Rates and hours as people write them; IEC 80000-13 for the prefixes.
func TestOptionTexts(t *testing.T) {
	for s, want := range map[string]float64{"": 0, "20": 20e6, "20 Mb/s": 20e6, "1Gb/s": 1e9, "2.5 MB/s": 20e6} {
		if got, err := Rate(s); err != nil || got != want {
			t.Errorf("rate %q: %v, %v", s, got, err)
		}
	}
	for s, want := range map[string]time.Duration{"": 0, "6": 6 * time.Hour, "5.5 h": 330 * time.Minute, "90 min": 90 * time.Minute, "2 hours": 2 * time.Hour} {
		if got, err := Hours(s); err != nil || got != want {
			t.Errorf("hours %q: %v, %v", s, got, err)
		}
	}
	for _, s := range []string{"0", "-1", "soon", "1e9"} {
		if got, err := Hours(s); err == nil {
			t.Errorf("hours %q: %v", s, got)
		}
	}
}

func FuzzHours(f *testing.F) {
	for _, s := range []string{"6", "5.5h", "90min", "NaN", "1e400", "-0", "hour"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := Hours(s); err == nil && (d < 0 || d > 10_000*time.Hour) {
			t.Errorf("%q is %v", s, d)
		}
	})
}

// Sizes of boxes as people write them.
func TestSize(t *testing.T) {
	// IEC 80000-13 for the prefixes.
	for s, want := range map[string]int64{"8TB": 8e12, " 7.5 TB ": 7.5e12, "8 TiB": 8 << 40, "500gb": 5e11, "1 B": 1} {
		if n, err := Size(s); err != nil || n != want {
			t.Errorf("%q: %d, %v", s, n, err)
		}
	}
	for _, s := range []string{"", "8", "0 TB", "-1 TB", "much", "1e30 TB", "NaN TB", "9000 EB"} {
		if n, err := Size(s); err == nil {
			t.Errorf("%q: %d", s, n)
		}
	}
}

// What a box takes is never written as more than it is, and within one in a hundred.
func FuzzRoundedDown(f *testing.F) {
	for _, n := range []int64{1, 999, 1000, 1_099_999_999_999, 5_400_000_000_000, 999_999_999_999, 1 << 62} {
		f.Add(n)
	}
	f.Fuzz(func(t *testing.T, n int64) {
		if n <= 0 {
			return
		}
		got, err := Size(RoundedDown(n))
		if err != nil && n < 1<<62 || got > n || err == nil && got < n-n/99-1 {
			t.Errorf("%d is written %q, which is %d (%v)", n, RoundedDown(n), got, err)
		}
	})
}

// The filter finds what strings.Contains finds on lower-case texts.
func FuzzFinder(f *testing.F) {
	for _, s := range [][2]string{{"Day 01/Take.MOV", "take"}, {"Ä.mov", "ä"}, {"aab", "ab"}, {"", "x"}, {"\xff", "\xff"}, {"İx", "i"}} {
		f.Add(s[0], s[1])
	}
	f.Fuzz(func(t *testing.T, path, text string) {
		find := NewFinder(text)
		want := strings.Contains(strings.ToLower(path), find.text)
		if !find.ascii || isASCII(path) {
			if got := find.In(path); got != want {
				t.Errorf("%q in %q: %v, want %v", text, path, got, want)
			}
		} else {
			find.In(path) // other folds than ASCII's are not looked for; it must not panic
		}
	})
}

func isASCII(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r >= 0x80 }) < 0
}
