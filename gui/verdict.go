package gui

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/kit"
)

// answer is a report in two sentences: the verdict, and what to do next.
type answer struct {
	badge kit.Badge
	title string
	next  string
}

// answerOf puts a report into plain words. The verdict is the report's own; beside it stands the
// first thing to do.
func answerOf(rep *checks.Report) answer {
	a := answer{badge: statusBadge(rep.Verdict)}
	a.title, a.next = firstSentence(rep.Answer())
	if rep.Interrupted {
		a.badge = statusBadge(checks.Unknown)
		a.next += " A check that did not finish says nothing about the disk."
		return a
	}
	var first *checks.Result
	blind := int64(0)
	for i := range rep.Checks {
		r := &rep.Checks[i]
		switch {
		case r.Status == checks.Unknown:
			blind++
		case r.Status == checks.Failed && (first == nil || first.Status != checks.Failed),
			r.Status == checks.Warned && first == nil:
			first = r
		}
	}
	more := ""
	switch {
	case first != nil && first.Status == checks.Failed:
		more = fmt.Sprintf("Begin with “%s”: %s", first.Title, uncapitalize(fixOf(first)))
	case rep.Verdict == checks.Passed:
		more = passWords(rep)
	case rep.Share == nil && rep.Stage == checks.Before:
		more = "Until then, “The copy fits on the share” and “The copy ends in time” say what to plan for."
		if first != nil {
			more += fmt.Sprintf(" On the disk, begin with “%s”.", first.Title)
		}
	case first != nil:
		more = fmt.Sprintf("Begin with “%s”: %s", first.Title, uncapitalize(fixOf(first)))
	case blind > 0:
		more = checks.Plural(blind, "check") + " could not look: open those marked “Not checked” to see why, and what to do."
	}
	a.next = strings.TrimSpace(a.next + " " + more)
	return a
}

// fixOf is what to do about a check: where one finding on the whole job alone made its status, what
// cures that one.
func fixOf(r *checks.Result) string {
	level := checks.Warn
	if r.Status == checks.Failed {
		level = checks.Fail
	}
	if r.Levels[level] != 1 {
		return r.Check.Fix
	}
	// Findings are sorted by their paths: what speaks of the whole job stands first.
	for i := 0; i < len(r.Findings) && r.Findings[i].Path == ""; i++ {
		if f := &r.Findings[i]; f.Level == level {
			return f.Fix()
		}
	}
	return r.Check.Fix // one name of many is cured as the check says
}

// firstSentence splits a text after its first sentence; the verdict loses its full stop.
func firstSentence(s string) (first, rest string) {
	for i, r := range s {
		if (r == '.' || r == ':' || r == ';') && i+1 < len(s) && s[i+1] == ' ' {
			return s[:i], capitalize(strings.TrimSpace(s[i+1:]))
		}
	}
	return strings.TrimSuffix(s, "."), ""
}

// uncapitalize takes the capital from a sentence that goes on after a colon, unless it is a name.
func uncapitalize(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	next, _ := utf8.DecodeRuneInString(s[n:])
	if r == utf8.RuneError || !unicode.IsLower(next) && next != ' ' {
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// passWords is what comes after a clean report.
func passWords(rep *checks.Report) string {
	switch rep.Stage {
	case checks.After:
		return "Unmount the share and power the appliance off as its own instructions say; the carrier’s rules for batteries come first."
	case checks.Recheck:
		return "Save this report and the manifest with your records."
	case checks.Arrival:
		return "Save this report with your archive. If the disk would be the only other copy, make a second one first."
	}
	if len(rep.Sources) > 1 {
		return "Save the report, then start your copy command for each disk: " + intoFolders(rep.Sources) + "."
	}
	into := ""
	if rep.Share != nil && rep.Share.Prefix != "" {
		into = " into " + names.Quote(rep.Share.Prefix)
	}
	return "Save the report, then start your copy command" + into + "."
}

func statusBadge(s checks.Status) kit.Badge {
	switch s {
	case checks.Passed:
		return kit.Badge{Mark: "pass", Color: kit.ColPass}
	case checks.Warned:
		return kit.Badge{Mark: "warn", Color: kit.ColWarn}
	case checks.Failed:
		return kit.Badge{Mark: "fail", Color: kit.ColFail}
	case checks.Unknown:
		return kit.Badge{Mark: "unknown", Color: kit.ColUnknown}
	case checks.Running:
		return kit.Badge{Mark: "running", Color: kit.ColAccent}
	}
	return kit.Badge{Mark: "waiting", Color: kit.ColIdle}
}

func levelBadge(l checks.Level) kit.Badge {
	switch l {
	case checks.Fail:
		return statusBadge(checks.Failed)
	case checks.Warn:
		return statusBadge(checks.Warned)
	}
	return kit.Badge{Mark: "note", Color: kit.ColIdle}
}

// levelWord is the word for a finding's level.
func levelWord(l checks.Level) string {
	switch l {
	case checks.Fail:
		return checks.Failed.Word()
	case checks.Warn:
		return checks.Warned.Word()
	}
	return "Note"
}
