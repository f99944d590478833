package gui

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"loadline/checks"
	"loadline/gui/kit"
)

// What a field shows of a path is read back as the same path, whatever its bytes.
func FuzzPathField(f *testing.F) {
	for _, s := range []string{"/media/a b", "/a\xff", "/\u202egnp.exe", `/"quoted"`, "/line\nbreak", " /lead", "/trail ", `"`, "''"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, path string) {
		shown := showPath(path)
		if strings.ContainsAny(shown, "\n\r\x1b\u202e\u2066") || !utf8.ValidString(shown) {
			t.Errorf("%q is shown as %q", path, shown)
		}
		if path != "" && typedPath(shown) != path {
			t.Errorf("%q is shown as %q and read back as %q", path, shown, typedPath(shown))
		}
		list := []string{path, "/other"}
		if got := typedPaths(showPaths(list)); path != "" && (len(got) != 2 || got[0] != path || got[1] != "/other") {
			t.Errorf("%q and another are read back as %q", path, got)
		}
	})
}

// Rates and hours as people write them; IEC 80000-13 for the prefixes.
func TestOptionTexts(t *testing.T) {
	for s, want := range map[string]float64{"": 0, "20": 20e6, "20 Mb/s": 20e6, "1Gb/s": 1e9, "2.5 MB/s": 20e6} {
		if got, err := rateIn(s); err != nil || got != want {
			t.Errorf("rate %q: %v, %v", s, got, err)
		}
	}
	for s, want := range map[string]time.Duration{"": 0, "6": 6 * time.Hour, "5.5 h": 330 * time.Minute, "90 min": 90 * time.Minute, "2 hours": 2 * time.Hour} {
		if got, err := hoursIn(s); err != nil || got != want {
			t.Errorf("hours %q: %v, %v", s, got, err)
		}
	}
	for _, s := range []string{"0", "-1", "soon", "1e9"} {
		if got, err := hoursIn(s); err == nil {
			t.Errorf("hours %q: %v", s, got)
		}
	}
}

func FuzzHours(f *testing.F) {
	for _, s := range []string{"6", "5.5h", "90min", "NaN", "1e400", "-0", "hour"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := hoursIn(s); err == nil && (d < 0 || d > 10_000*time.Hour) {
			t.Errorf("%q is %v", s, d)
		}
	})
}

// The gauge: what is in use, the copy and the load line, in bytes of the share.
func TestLoad(t *testing.T) {
	rep := sample()
	space := rep.Result("free-space")
	l, ok := loadOf(space, rep.Share, rep.Totals)
	want := kit.Load{Total: 8_000_000_000_000, Used: 2_600_000_000_000, Copy: 1_820_000_000_000, Line: 7_963_600_000_000}
	if !ok || l != want || !l.Safe() || l.Over() != 0 {
		t.Errorf("%+v, %v; want %+v", l, ok, want)
	}
	l.Copy = l.Total - l.Used - 1
	if l.Safe() || l.Over() != 0 {
		t.Error("a copy that fits but passes the load line is not safe")
	}
	l.Copy = l.Total
	if l.Over() != l.Used {
		t.Errorf("over by %d, want %d", l.Over(), l.Used)
	}
	if _, ok := loadOf(nil, nil, rep.Totals); ok {
		t.Error("without a share there is no gauge")
	}
}

// The sentences of each verdict, and what to do next.
func TestAnswers(t *testing.T) {
	for _, c := range []struct {
		name  string
		rep   *checks.Report
		title string
		next  string
	}{
		{"failed", sample(), "Do not copy yet", "Begin with “No name is too long”: give the names"},
		{"passed", clean(), "Ready to copy", "Save the report, then start your copy command into 2026-harvest."},
		{"stopped", func() *checks.Report { r := sample(); r.Interrupted = true; return r }(), "Stopped before the end", "says nothing about the disk"},
		{"copied", func() *checks.Report { r := clean(); r.Stage = checks.After; return r }(), "Every byte is on the share", "You may ship the box"},
		{"arrived", func() *checks.Report { r := clean(); r.Stage = checks.Arrival; return r }(), "Every file is an object", "You may erase the disk"},
	} {
		a := answerOf(c.rep)
		if a.title != c.title || !strings.Contains(a.next, c.next) {
			t.Errorf("%s: %q, then %q", c.name, a.title, a.next)
		}
	}
}

// A sentence begins with a capital, whatever its alphabet (the pairs are those of the Unicode data);
// options of a mount keep their spelling, and what is no letter stays.
func TestCapital(t *testing.T) {
	for s, want := range map[string]string{
		"": "", "name is 271 bytes": "Name is 271 bytes", "rsize is 65,536 bytes": "rsize is 65,536 bytes",
		"noac, sync or actimeo=0 is in force": "noac, sync or actimeo=0 is in force",
		"übertragen.mov is too long":          "Übertragen.mov is too long", "ёлка.mov": "Ёлка.mov",
		"ǆ": "ǅ", "字.mov": "字.mov", "\xff.mov": "\xff.mov",
	} {
		if got := capitalize(s); got != want {
			t.Errorf("%q becomes %q, want %q", s, got, want)
		}
	}
}

// What goes on after a colon begins small, unless it is an abbreviation.
func TestUncapitalize(t *testing.T) {
	for s, want := range map[string]string{"": "", "Give it": "give it", "A name": "a name", "NFS mounts": "NFS mounts", "Über uns": "über uns", "\xff": "\xff"} {
		if got := uncapitalize(s); got != want {
			t.Errorf("%q becomes %q, want %q", s, got, want)
		}
	}
}
