package fix

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"loadline/checks"
	"loadline/checks/names"
)

// A treatment is what a plan does about a finding.
type treatment uint8

const (
	treatNone      treatment = iota
	treatRename              // the name must change
	treatApart               // of names that collide, all but one must change
	treatPortable            // as treatRename, where the person wishes portable names
	treatShorten             // a part of the path must become shorter
	treatLeave               // no rename cures it, and it is not copied
	treatOwn                 // as treatLeave, but kept by Loadline and not worth a word
	treatAdvise              // no rename cures it; it is copied all the same
	treatRespelled           // the disk spells the name in a way of its own, so that no rename cures it
)

// The rules whose findings a plan asks a report for, by their IDs. What other rules say is no matter
// of names, nor of what can be copied.
const (
	ruleNameLong   = "name-too-long"
	ruleLineBreak  = "line-break"
	ruleNotNFC     = "not-nfc"
	rulePortable   = "not-portable"
	rulePathLong   = "path-too-long"
	ruleKeyLong    = "key-too-long"
	ruleClutter    = "desktop-clutter"
	ruleOwn        = "own-file"
	ruleUnlisted   = "folder-unreadable"
	ruleUnread     = "file-unreadable"
	ruleRefused    = "refuses-character"
	ruleVanished   = "vanished"
	reasonSkipped  = "skipped"
	reasonArchived = "archived"
)

var treatments = map[string]treatment{
	ruleRefused:  treatRename,
	ruleNameLong: treatRename, "invalid-utf8": treatRename, ruleLineBreak: treatRename, "control-character": treatRename,
	"bidi-control": treatRename, "reserved-character": treatRename, "trailing-dot-or-space": treatRename, "leading-space": treatRename,
	"device-name": treatRename, "leading-hyphen": treatRename, ruleNotNFC: treatRename, rulePortable: treatPortable,
	"same-normal-form": treatApart, "case-twins": treatApart,
	rulePathLong: treatShorten, ruleKeyLong: treatShorten,
	"too-deep":   treatAdvise,
	ruleUnlisted: treatLeave, ruleUnread: treatLeave, "read-error": treatLeave, ruleVanished: treatLeave,
	"link-absolute": treatLeave, "link-outside": treatLeave, "link-loop": treatLeave, "link-dangling": treatLeave, "link-inside": treatLeave,
	"special-file": treatLeave, "too-large": treatLeave, "folder-loop": treatLeave,
	ruleClutter: treatLeave, "apple-double": treatLeave, "unfinished-file": treatLeave, ruleOwn: treatOwn,
}

// Checks returns the checks of a list whose findings a plan asks for, and those that they need.
func Checks(list []*checks.Check) []*checks.Check {
	wanted := map[*checks.Check]bool{}
	var want func(*checks.Check)
	want = func(c *checks.Check) {
		wanted[c] = true
		for _, n := range c.Needs {
			want(n)
		}
	}
	for _, c := range list {
		if acts(c) {
			want(c)
		}
	}
	return slices.DeleteFunc(slices.Clone(list), func(c *checks.Check) bool { return !wanted[c] })
}

// acts reports whether a plan acts on findings of a check.
func acts(c *checks.Check) bool {
	return slices.ContainsFunc(c.Rules, func(r *checks.Rule) bool { return treatments[r.ID] != treatNone })
}

// Errors about the report that a plan is made from. With either, check again and plan anew.
var (
	// ErrReport: the report does not say all that a plan needs.
	ErrReport = errors.New("the report does not say all that a plan needs")
	// ErrStale: the source is no longer as the report says.
	ErrStale = errors.New("the source has changed since it was checked: check it again")
)

// A flag is a finding and what the plan does about it.
type flag struct {
	*checks.Finding
	treat treatment
}

// harm is how bad a finding would be if what it speaks of were copied.
func (f flag) harm() checks.Level { return max(f.Level, f.Spared) }

// findings are those of a report that a plan acts on.
type findings struct {
	all     []flag          // by path; of one path those that speak of its name first
	at      map[string]span // by path
	folders map[string]bool // that hold something flagged; true if a name must change
	here    int64           // flagged paths that are on the source, but for what Loadline itself keeps
	own     int64           // files that Loadline itself keeps
}

// seen reports whether an entry of a folder that has some is one of the flagged paths that are counted.
func (f *findings) seen(path string) bool {
	all := f.flagsOf(path)
	return len(all) > 0 && all[0].counts()
}

// counts reports whether a flagged path is still there to be counted.
func (f flag) counts() bool { return f.treat != treatOwn && f.Rule.ID != ruleVanished }

type span struct{ from, to int32 }

// flagsOf returns what is said of a path.
func (f *findings) flagsOf(path string) []flag {
	s := f.at[path]
	return f.all[s.from:s.to:s.to]
}

// names returns what is said of the name of a path, and could be cured by another.
func (f *findings) names(path string) []flag {
	all := f.flagsOf(path)
	n := 0
	for n < len(all) && (all[n].treat == treatRename || all[n].treat == treatApart) {
		n++
	}
	return all[:n:n]
}

// tooLong reports whether a path has a finding that only a shorter name cures.
func (f *findings) tooLong(path string) bool {
	return slices.ContainsFunc(f.flagsOf(path), func(g flag) bool { return g.treat == treatShorten })
}

// usable reports by ErrReport why a plan cannot be made from a report.
func usable(rep *checks.Report) error {
	switch {
	case len(rep.Job.With) > 0:
		return fmt.Errorf("%w: it is of several disks, and a plan is for one; check each by itself", ErrReport)
	case rep.Stage != checks.Before || rep.Job.Source == "":
		return fmt.Errorf("%w: it is not one of before copying", ErrReport)
	case rep.Interrupted:
		return fmt.Errorf("%w: the checks were stopped", ErrReport)
	}
	judged := map[string]bool{}
	for i := range rep.Checks {
		r := &rep.Checks[i]
		if r.Check == nil || r.Reason != "" && !r.Check.NeedsShare {
			continue
		}
		for _, rule := range r.Check.Rules {
			judged[rule.ID] = true
		}
	}
	for rule := range treatments {
		if !judged[rule] {
			return fmt.Errorf("%w: %s was not checked", ErrReport, rule)
		}
	}
	return nil
}

// newFindings takes from a report what a plan needs.
func newFindings(rep *checks.Report, l *limits) *findings {
	f := &findings{at: map[string]span{}, folders: map[string]bool{}}
	for _, g := range rep.Findings() {
		if t := l.treat(g); t != treatNone && g.Path != "" {
			f.all = append(f.all, flag{g, t})
			if t == treatOwn {
				f.own++
			}
		}
	}
	slices.SortStableFunc(f.all, func(a, b flag) int { return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.treat, b.treat)) })
	for i := 0; i < len(f.all); {
		j := i + 1
		for j < len(f.all) && f.all[j].Path == f.all[i].Path {
			j++
		}
		f.at[f.all[i].Path] = span{int32(i), int32(j)}
		dir, _ := names.Split(f.all[i].Path)
		f.folders[dir] = f.folders[dir] || f.all[i].treat == treatRename || f.all[i].treat == treatApart
		if f.all[i].counts() {
			f.here++
		}
		i = j
	}
	return f
}

// treat says what the plan does about a finding.
func (l *limits) treat(f *checks.Finding) treatment {
	t := treatments[f.Rule.ID]
	switch {
	case t == treatPortable && l.portable:
		return treatRename
	case t == treatPortable, f.Rule.ID == ruleNotNFC && l.respells && l.portable:
		return treatNone
	case f.Rule.ID == ruleNotNFC && l.respells:
		return treatRespelled
	}
	return t
}
