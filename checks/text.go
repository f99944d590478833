package checks

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"loadline/checks/names"
)

const (
	columns = 100 // of the text report, where paths allow
	listed  = 200 // flagged files a check in the text report
	advised = 5   // steps of "what to do first"
)

// heads are the first line of the report and its answers, by stage.
var heads = map[Stage]struct{ title, pass, warn, fail string }{
	Before: {
		"Before copying",
		"Ready to copy. Keep the source until its arrival is verified.",
		"You can copy, but read the warnings first.",
		"Do not copy yet.",
	},
	After: {
		"After copying",
		"Every byte is on the share. You may ship the box; keep the source until its arrival is verified.",
		"Look at the warnings before you ship the box. Keep the source.",
		"Do not ship the box yet. Keep the source.",
	},
	Arrival: {
		"After arrival",
		"Every file is an object. You may erase the disk.",
		"Do not erase the disk before you have looked at the warnings.",
		"Do not erase the disk.",
	},
	Recheck: {
		"Recheck of a copy",
		"The copy is whole: every file is what the manifest says.",
		"What was checked is good, but read the warnings: not everything is proven.",
		"The copy is not what the manifest says. Keep every other copy.",
	},
}

// Answer returns the verdict in a sentence that says what to do.
func (r *Report) Answer() string {
	h := heads[r.Stage]
	switch {
	case r.Interrupted:
		return "Stopped before the end: nothing is certain yet. Check again."
	case r.Verdict == Failed:
		return h.fail
	case r.Verdict == Passed:
		return h.pass
	case r.Stage == Before && r.Share == nil:
		return "The source was checked. Choose the share once the appliance has arrived, and check again."
	}
	return h.warn
}

// Counts counts the checks by status: "2 to fix first, 3 to take care of, 10 good, 2 not checked".
func (r *Report) Counts() string {
	var n [4]int
	for i := range r.Checks {
		n[r.Checks[i].Status]++
	}
	var parts []string
	for _, p := range []struct {
		s    Status
		text string
	}{{Failed, "to fix first"}, {Warned, "to take care of"}, {Passed, "good"}, {Unknown, "not checked"}} {
		if n[p.s] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[p.s], p.text))
		}
	}
	return strings.Join(parts, ", ")
}

// advice returns the first things to do, most urgent first.
func (r *Report) advice() []string {
	var list []string
	for _, want := range []Status{Failed, Warned, Unknown} {
		for i := range r.Checks {
			c := &r.Checks[i]
			if c.Status != want || len(list) == advised {
				continue
			}
			switch {
			case want == Unknown:
				list = append(list, fmt.Sprintf("“%s” was not checked: %s", c.Title, c.Reason))
			default:
				list = append(list, fmt.Sprintf("%s (“%s”)", c.remedy(), c.Title))
			}
		}
	}
	return list
}

// remedy returns the first thing to do about a check: that of its worst findings where they break
// one rule, else that of the check.
func (r *Result) remedy() string {
	var worst *Finding
	several := false
	for i := range r.Findings {
		f := &r.Findings[i]
		switch {
		case worst == nil || f.Level > worst.Level:
			worst, several = f, false
		case f.Level == worst.Level && f.Rule != worst.Rule:
			several = true
		}
	}
	if worst == nil || several {
		return r.Check.Fix
	}
	return worst.Fix()
}

// WriteText writes the report for people: plain UTF-8, no escape codes, names quoted where they hold
// anything but printable characters.
func (r *Report) WriteText(w io.Writer) error {
	t := &textWriter{w: bufio.NewWriter(w), several: len(r.Sources) > 0}
	t.line("LOADLINE: %s", strings.ToUpper(heads[r.Stage].title))
	t.line("")
	t.wrap("", "", r.Answer())
	t.wrap("", "", Capitalize(r.Counts())+".")
	for i, p := range r.Proof {
		if i == 0 {
			t.line("")
		}
		t.wrap("", "", p)
	}
	if r.Invented != "" {
		t.line("")
		t.wrap("", "", "THIS IS A DEMO. Invented: "+r.Invented+". Everything else was computed.")
	}
	if advice := r.advice(); len(advice) > 0 {
		t.heading("What to do first")
		for i, a := range advice {
			t.wrap(fmt.Sprintf("%2d. ", i+1), "    ", a)
		}
	}
	t.heading("What was checked")
	role := "Source"
	if r.Stage == Recheck {
		role = "Folder"
	}
	t.place(role, &r.Source)
	for i, d := range r.Sources {
		to := "the share itself"
		if d.Prefix != "" {
			to = names.Quote(d.Prefix)
		}
		t.line("Disk %d: %s, to the folder %s", i+1, names.Quote(d.Source), to)
	}
	if r.Share != nil {
		t.place("Share", r.Share)
		if r.Share.Prefix != "" {
			t.line("Folder on the share: %s", names.Quote(r.Share.Prefix))
		}
	} else if r.Stage == Before {
		t.line("Share: none chosen yet")
	}
	t.line("%s, %s, %s, %s; %s (%s bytes)", Plural(r.Totals.Files, "file"), Plural(r.Totals.Folders, "folder"),
		Plural(r.Totals.Links, "link"), Plural(r.Totals.Others, "special file"), Bytes(r.Totals.Bytes), Count(r.Totals.Bytes))
	if r.Manifest != "" {
		t.line("Manifest: %s", names.Quote(r.Manifest))
	}
	t.heading("The checks")
	for i := range r.Checks {
		t.check(i+1, &r.Checks[i])
	}
	flagged := false
	for i := range r.Checks {
		c := &r.Checks[i]
		if len(c.Findings) == 0 {
			continue
		}
		if !flagged {
			t.heading("What was found")
			flagged = true
		}
		t.findings(c)
	}
	t.heading("Cautions")
	for _, c := range r.Cautions() {
		t.wrap("- ", "  ", c)
	}
	t.heading("Made on")
	t.wrap("", "", r.Machine)
	t.line("%s to %s", r.Started.Format(time.RFC3339), r.Finished.Format(time.RFC3339))
	t.line("Loadline %s", r.Version)
	if r.Unproven != "" {
		t.wrap("", "", r.Unproven)
	}
	if t.err != nil {
		return t.err
	}
	return t.w.Flush()
}

// Cautions returns what can cost footage whatever the verdict, and, once the box may travel or the
// disk may be erased, what comes before that.
func (r *Report) Cautions() []string {
	list := cautions
	switch {
	case r.Interrupted || r.Verdict == Failed:
	case r.Stage == Recheck:
		list = []string{"Keep this report and the manifest with your records."}
	case r.Stage == After:
		list = append([]string{
			"Before the box travels: unmount the share, then switch the appliance off as its own instructions say.",
			"Keep the manifest: the arrival is checked against it.",
		}, list...)
	case r.Stage == Arrival && r.Verdict == Passed:
		list = []string{
			"Before you erase the disk: make sure it is the one the manifest names. A second copy in another place is worth more than an empty disk.",
			"Keep this report and the manifest with your records.",
		}
	}
	return list
}

// cautions stand under every report: what can cost footage.
var cautions = []string{
	"Keep the source until its arrival in the object store is verified.",
	"The instructions of the appliance and of its carrier come first, and so do the local rules for shipping batteries.",
}

type textWriter struct {
	w       *bufio.Writer
	err     error
	several bool // there are several sources, so findings say theirs
}

func (t *textWriter) line(format string, args ...any) {
	if t.err == nil {
		// Every name is quoted where it is put into a text; one that slips through still forges
		// nothing.
		_, t.err = t.w.WriteString(Plain(fmt.Sprintf(format, args...)) + "\n")
	}
}

func (t *textWriter) heading(s string) {
	t.line("")
	t.line("%s", s)
	t.line("%s", strings.Repeat("-", utf8.RuneCountInString(s)))
}

// wrap breaks a text at spaces. Words longer than a line, such as paths, stay whole.
func (t *textWriter) wrap(first, rest, s string) {
	line, width := first, utf8.RuneCountInString(first)
	empty := true
	for word := range strings.SplitSeq(s, " ") { // not Fields: a name may hold two spaces
		n := utf8.RuneCountInString(word)
		if !empty && width+1+n > columns {
			t.line("%s", line)
			line, width, empty = rest, utf8.RuneCountInString(rest), true
		}
		if !empty {
			line += " "
			width++
		}
		line += word
		width += n
		empty = false
	}
	t.line("%s", line)
}

func (t *textWriter) place(role string, p *Place) {
	t.line("%s: %s", role, names.Quote(p.Path))
	if p.Type != "" {
		from := names.Quote(p.Type) + " from " + names.Quote(p.From)
		if len(p.Options) > 0 {
			from += ", mounted with " + names.Quote(strings.Join(p.Options, ", "))
		}
		t.wrap("    ", "    ", from)
	}
}

func (t *textWriter) check(n int, c *Result) {
	t.line("%2d. [%s] %s", n, c.Status.Word(), c.Title)
	if c.Summary != "" {
		t.wrap("    ", "      ", c.Summary)
	}
	if c.Reason != "" && c.Reason != c.Summary {
		t.wrap("    ", "      ", "Not checked: "+c.Reason)
	}
	for i := range c.Facts {
		t.wrap("    - ", "      ", c.Facts[i].Text)
		for _, command := range c.Facts[i].Commands {
			t.line("        %s", names.Quote(command))
		}
	}
	for _, rule := range c.Check.Rules {
		if k := c.Rules[rule.ID]; k > 0 {
			t.wrap("    * ", "      ", fmt.Sprintf("%s (%s): %s. Source: %s", rule.ID, Count(k), rule.When, rule.Source))
		}
	}
	if c.Status != Passed && c.Status != Unknown {
		t.wrap("    > ", "      ", c.remedy())
	}
}

func (t *textWriter) findings(c *Result) {
	t.line("")
	t.line("%s: %s, %s, %s", c.Title, Plural(int64(c.Levels[Fail]), "failure"), Plural(int64(c.Levels[Warn]), "warning"), Plural(int64(c.Levels[Note]), "note"))
	// The worst are listed first, so that the limit never hides a failure behind notes.
	left := listed
	for level := Fail; ; level-- {
		for i := range c.Findings {
			f := &c.Findings[i]
			if f.Level != level {
				continue
			}
			if left == 0 {
				t.line("  and %s more", Count(int64(len(c.Findings)-listed)))
				return
			}
			left--
			path := "(the copy as a whole)"
			if f.Path != "" {
				path = names.Quote(f.Path)
				if t.several {
					path = fmt.Sprintf("disk %d: %s", f.Source+1, path)
				}
			}
			t.line("  %s  %s", f.Level, path)
			t.wrap("        ", "          ", fmt.Sprintf("%s: %s", f.Rule.ID, f.Detail))
			if f.Remedy != "" {
				t.wrap("        ", "          ", f.Remedy)
			}
		}
		if level == Note {
			return
		}
	}
}
