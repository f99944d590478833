package share

import (
	"errors"
	"fmt"
	"io/fs"
	"runtime"
	"strings"

	"loadline/checks/internal/disk"
)

// usualNameLimit is the longest name in bytes where the share does not say (limits.h NAME_MAX).
const usualNameLimit = 255

// The habits of names that a Refusal can speak of.
const (
	HabitTrailingDot   = "trailing-dot"
	HabitTrailingSpace = "trailing-space"
	HabitLeadingSpace  = "leading-space"
	HabitInvalidUTF8   = "invalid-utf8"
	HabitDeviceName    = "device-name"
	// HabitSupplementary stands for every character beyond U+FFFF: one is tried for all.
	HabitSupplementary = "supplementary-character"
)

// One name that is tried. Every name holds its number between hyphens, so that it is found in the
// listing however the share may have changed it.
type attempt struct {
	Refusal
	name string
}

// mark is the part of a name that finds it again.
func mark(n int) string { return fmt.Sprintf("-%03d-", n) }

// attempts lists the names that the share is asked to keep, one character or habit each.
func attempts() []attempt {
	var list []attempt
	add := func(r Refusal, format string) {
		list = append(list, attempt{r, fmt.Sprintf(format, mark(len(list)))})
	}
	char := func(c rune) { add(Refusal{Rune: c}, "n%s"+strings.ReplaceAll(string(c), "%", "%%")+"z") }
	for _, c := range `\:*?"<>|` {
		// Windows itself takes these two for a separator and for a stream of the file before it.
		if runtime.GOOS != "windows" || c != '\\' && c != ':' {
			char(c)
		}
	}
	for c := rune(1); c < 32; c++ {
		char(c)
	}
	char(0x7f)
	char(0x85)   // a control character of the second set
	char(0x202e) // a bidi control
	char(0xfffe) // no character at all
	add(Refusal{Habit: HabitSupplementary}, "n%s\U0001F3AC")
	add(Refusal{Habit: HabitTrailingDot}, "n%s.")
	add(Refusal{Habit: HabitTrailingSpace}, "n%s ")
	add(Refusal{Habit: HabitLeadingSpace}, " n%s")
	add(Refusal{Habit: HabitInvalidUTF8}, "n%s\xff")
	add(Refusal{Habit: HabitDeviceName}, "aux.%s")
	return list
}

// Names that tell whether the share folds. The second of each pair is never made.
const (
	caseUpper, caseLower = "N-901-CASE", "n-901-case"
	formC, otherOfC      = "n-902-\u00e9", "n-902-e\u0301"
	formD, otherOfD      = "n-903-e\u0301", "n-903-\u00e9"
	longMark             = "n-904-"
)

// names finds out which names the share takes and whether they come back as they were. Every file
// is empty, so that a full share can be asked too.
func (t *trial) names() (err error) {
	var p *place
	err = t.call("making a folder", func() (err error) { p, err = t.in.makeFolder(namesFolder); return err })
	if err != nil {
		return t.fail("making a folder in a folder", err)
	}
	defer func() { err = t.dropNames(p, err) }()

	list := attempts()
	for i := range list {
		if err := t.tryName(p, list[i].name); err != nil {
			if refusal(err) {
				list[i].Err = disk.WithoutPath(err)
				continue
			}
			return t.fail(fmt.Sprintf("making a file named %q", list[i].name), err)
		}
	}
	folds, err := t.folding(p)
	if err != nil {
		return err
	}
	limit, cuts, err := t.longest(p)
	if err != nil {
		return err
	}
	var back []string
	if err := t.call("listing a folder", func() (err error) { back, err = p.list(); return err }); err != nil {
		return t.fail("listing a folder", err)
	}
	var refused []Refusal
	for i := range list {
		a := &list[i]
		if a.Err == nil {
			came := find(back, mark(i))
			if came == a.name {
				continue
			}
			a.Back = came
		}
		refused = append(refused, a.Refusal)
	}
	for _, pair := range [][2]string{{formC, otherOfC}, {formD, otherOfD}} {
		switch came := find(back, pair[0][1:6]); {
		case !folds.made[pair[0]] || came == pair[0]:
		case came == pair[1]:
			folds.forms = true
		default:
			refused = append(refused, Refusal{Rune: '\u00e9', Back: came})
		}
	}
	if came := find(back, caseUpper[1:6]); folds.made[caseUpper] && came != caseUpper {
		folds.cases = true
	}
	for _, came := range back {
		if !strings.Contains(came, longMark[1:]) || p.hasFolded(came) {
			continue
		}
		limit, cuts = len(came), true // it was made under another name
	}
	t.update(func(r *Result) {
		r.Refused, r.NamesTried = refused, true
		r.FoldsCase, r.FoldsForms = folds.cases, folds.forms
		r.NameLimit, r.CutsShort = limit, cuts
	})
	return nil
}

// hasFolded says whether a file was made under this name, but for its case.
func (p *place) hasFolded(name string) bool {
	for made := range p.made {
		if strings.EqualFold(made, name) {
			return true
		}
	}
	return false
}

// find returns the listed name that holds a mark, "" if there is none.
func find(names []string, mark string) string {
	for _, n := range names {
		if strings.Contains(n, mark) {
			return n
		}
	}
	return ""
}

// refusal says that an error is about the name, not about the share.
func refusal(err error) bool {
	if errors.Is(err, errStopped) || ownFault(err) || errors.Is(err, errForeign) {
		return false
	}
	switch {
	case disk.ReadOnly(err), isStale(err), disk.Full(err), isIO(err):
		return false
	}
	return true
}

// tryName makes an empty file and closes it.
func (t *trial) tryName(p *place, name string) error {
	return t.call("trying a name", func() error {
		f, err := p.create(name)
		if err != nil {
			return err
		}
		return f.Close()
	})
}

type folding struct {
	cases, forms bool
	made         map[string]bool
}

// folding finds out whether two names that differ in case or normal form open one file.
func (t *trial) folding(p *place) (folding, error) {
	f := folding{made: map[string]bool{}}
	for _, pair := range [][2]string{{caseUpper, caseLower}, {formC, otherOfC}, {formD, otherOfD}} {
		switch err := t.tryName(p, pair[0]); {
		case err == nil:
			f.made[pair[0]] = true
		case refusal(err):
			continue // what it is that the share refuses, the names of one character say
		default:
			return f, t.fail(fmt.Sprintf("making a file named %q", pair[0]), err)
		}
		err := t.call("looking at a file", func() error { _, err := p.root.Lstat(pair[1]); return err })
		switch {
		case err == nil && pair[0] == caseUpper:
			f.cases = true
		case err == nil:
			f.forms = true
		case errors.Is(err, fs.ErrNotExist), refusal(err):
		default:
			return f, t.fail("looking at a file", err)
		}
	}
	return f, nil
}

// longest finds the longest name that the share takes. A name one byte over its limit must be
// refused; where the limit it claims is not the one it keeps, the true one is looked for.
func (t *trial) longest(p *place) (limit int, cuts bool, err error) {
	claimed := t.at.space.NameLimit
	if claimed <= len(longMark) {
		claimed = usualNameLimit
	}
	claimed = min(claimed, 4095-len(t.in.path)) // PATH_MAX holds for what a person types, too
	takes := func(n int) (bool, error) {
		err := t.tryName(p, longMark+strings.Repeat("a", n-len(longMark)))
		switch {
		case err == nil, errors.Is(err, fs.ErrExist): // cut to a name that is there
			return true, nil
		case refusal(err):
			return false, nil
		}
		return false, t.fail(fmt.Sprintf("making a file whose name has %d bytes", n), err)
	}
	over, err := takes(claimed + 1)
	if err != nil {
		return 0, false, err
	}
	if over {
		return claimed + 1, true, nil
	}
	ok, err := takes(claimed)
	if err != nil || ok {
		return claimed, false, err
	}
	low, high := len(longMark), claimed // the one it takes, as many names before; the other it does not
	for low+1 < high {
		middle := (low + high) / 2
		if ok, err = takes(middle); err != nil {
			return 0, false, err
		}
		if ok {
			low = middle
		} else {
			high = middle
		}
	}
	return low, false, nil
}

// dropNames removes the names that were tried and their folder, and keeps err if there is one.
func (t *trial) dropNames(p *place, err error) error {
	defer p.close()
	var errs []error
	for name := range p.made {
		errs = append(errs, t.tidy("removing the trial's files", func() error { return p.remove(name) }))
	}
	gone := errors.Join(errs...)
	if gone == nil {
		gone = t.tidy("removing the trial's files", func() error {
			if err := t.in.is(namesFolder, p); err != nil {
				return err
			}
			return t.in.removeEmpty(namesFolder)
		})
	}
	if gone == nil || err != nil {
		return err // cleanUp says what is left
	}
	return t.fail("removing files", gone)
}
