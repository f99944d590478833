package before

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	sameNormalForm = &checks.Rule{
		ID: "same-normal-form", Level: checks.Fail,
		When:   "two names in one folder look the same and differ only in how their bytes spell it",
		Fix:    "Rename one of them: they become one key.",
		Source: "UAX #15; unicode(7)",
	}
	notNFC = &checks.Rule{
		ID: "not-nfc", Level: checks.Warn,
		When:   "the name is not in Unicode normal form C (fails if the share folds normal forms)",
		Fix:    "Rename it to normal form C, so that its key is what you type; on an HFS+ disk, which undoes that, to a name without such letters.",
		Source: "UAX #15",
	}
	caseTwins = &checks.Rule{
		ID: "case-twins", Level: checks.Warn,
		When:   "two names in one folder differ only in case (fails if the share folds case)",
		Fix:    "Rename one of them, or they overwrite each other where case does not count.",
		Source: "Unicode CaseFolding (C and F), The Unicode Standard §3.13 D145",
	}
)

// twinState levels the rules by what the share was measured to do.
type twinState struct {
	caseLevel, formLevel checks.Level
	scratch              sync.Pool
}

type twinScratch struct {
	twins  names.Twins
	traits []names.Traits
}

// twinsNamed is how many of its twins one finding names: all of them in a folder of 100,000 would be
// a list of lists.
const twinsNamed = 10

var nameTwins = &checks.Check{
	ID: "name-twins", Title: "No two names collide", Group: checks.GroupNames,
	Doc: "Compares the names of each folder by Unicode normal form and by full case folding, and those of several disks where " +
		"they go to one folder on the share. Twins live side " +
		"by side on your disk and become one file where the share, the store or the next disk folds them: " +
		"the second overwrites the first.",
	Fix:   "Rename one of each pair.",
	Rules: []*checks.Rule{sameNormalForm, notNFC, caseTwins, disksCollide},
	Begin: func(pass *checks.Pass) any {
		s := &twinState{caseLevel: checks.Warn, formLevel: checks.Warn}
		s.scratch.New = func() any { return &twinScratch{} }
		if got := checks.StateOf[share.Result](pass, shareWrites); got != nil {
			if got.FoldsCase {
				s.caseLevel = checks.Fail
			}
			if got.FoldsForms {
				s.formLevel = checks.Fail
			}
		}
		return s
	},
	Visit: visitTwins,
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		if err := flagDisks(ctx, pass); err != nil {
			return err
		}
		say := "No two names of a folder collide"
		if n := pass.Total(sameNormalForm) + pass.Total(caseTwins) + pass.Total(disksCollide); n > 0 {
			say = checks.Plural(n, "name") + " that collide with another"
		}
		if n := pass.Total(notNFC); n > 0 {
			say += "; " + checks.Count(n) + " with decomposed letters (not in Unicode normal form C)"
		}
		pass.Summarize("%s.", say)
		return nil
	},
}

func visitTwins(pass *checks.Pass, d *walk.Dir) {
	if len(d.Entries) == 0 {
		return
	}
	s := pass.State.(*twinState)
	w := s.scratch.Get().(*twinScratch)
	defer s.scratch.Put(w)
	w.traits = w.traits[:0]
	for i := range d.Entries {
		e := &d.Entries[i]
		traits := names.Look(e.Name)
		w.traits = append(w.traits, traits)
		if traits.Any(names.NotNFC) {
			pass.FlagLevel(d, e, notNFC, s.formLevel, "name is %d bytes, its normal form C %d", len(e.Name), len(names.NFC(e.Name)))
		}
	}
	name := func(i int) string { return d.Entries[i].Name }
	traits := func(i int) names.Traits { return w.traits[i] }
	w.twins.Find(len(d.Entries), name, traits, func(kind names.TwinKind, members []int) {
		rule, level, show := caseTwins, s.caseLevel, showTwin
		if kind == names.SameForm {
			// Shown as they are, they would look the same.
			rule, level, show = sameNormalForm, checks.Fail, strconv.QuoteToASCII
		}
		for _, i := range members {
			if d.Entries[i].Name == names.FinderIcon {
				continue
			}
			pass.FlagLevel(d, &d.Entries[i], rule, level, "%s", "collides with "+others(d, members, i, show))
		}
	})
	if cap(w.traits) > 1<<16 {
		*w = twinScratch{} // one huge folder must not keep its memory for the rest of the walk
	}
}

// showTwin shows a name of case twins: by its characters where its form would hide which they are.
func showTwin(name string) string {
	if !names.IsNFC(name) {
		return strconv.QuoteToASCII(name)
	}
	return names.Quote(name)
}

// others names the other members of a group.
func others(d *walk.Dir, members []int, me int, show func(string) string) string {
	var list []string
	for _, i := range members {
		if i == me {
			continue
		}
		if len(list) == twinsNamed {
			return fmt.Sprintf("%s and %d more", strings.Join(list, ", "), len(members)-1-twinsNamed)
		}
		list = append(list, show(d.Entries[i].Name))
	}
	return strings.Join(list, ", ")
}
