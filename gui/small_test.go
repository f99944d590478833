package gui

import (
	"strings"
	"testing"

	"loadline/checks"
	"loadline/gui/kit"
)

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
