package before

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	shareReadOnly = &checks.Rule{
		ID: "share-read-only", Level: checks.Fail,
		When:   "the server refuses to write, though the mount table may say rw",
		Fix:    "Ask the appliance for write access to this share: its export is read-only.",
		Source: "measured: only a write tells, neither the mount table nor access(2)",
	}
	shareDenied = &checks.Rule{
		ID: "share-denied", Level: checks.Fail,
		When:   "the share does not let you create a file, or does not open what was just written",
		Fix:    "Run as the user whom the appliance expects, or change the owner or mode of the share's folder by its own instructions.",
		Source: "exports(5) root_squash; measured",
	}
	writeLost = &checks.Rule{
		ID: "write-lost", Level: checks.Fail,
		When:   "bytes differ when read back past the cache, or flushing or closing failed",
		Fix:    "Do not copy to this share. Check cable, network and mount options, then try again.",
		Source: "close(2), fsync(2): only the first fsync tells; measured",
	}
	shareFull = &checks.Rule{
		ID: "share-full", Level: checks.Fail,
		When:   "the share says that it is full, often only when a file is flushed or closed",
		Fix:    "Free space on the share or ask for a larger appliance: there may be a quota that the free space does not show.",
		Source: "close(2); measured: statvfs did not show a quota",
	}
	staleHandle = &checks.Rule{
		ID: "stale-handle", Level: checks.Fail,
		When:   "the share forgets open files (ESTALE)",
		Fix:    "Unmount and mount the share again: the server was set up again after it was mounted.",
		Source: "measured",
	}
	ownerNotKept = &checks.Rule{
		ID: "owner-not-kept", Level: checks.Warn,
		When:   "the share does not let root give a file to another owner",
		Fix:    "Tell your copy command not to keep owners; otherwise it reports an error for each file and may skip dates.",
		Source: "exports(5) root_squash; measured",
	}
	clockSkew = &checks.Rule{
		ID: "clock-skew", Level: checks.Warn,
		When:   "the clock of the share and this computer's differ by more than 2 s (fails over 300 s)",
		Fix:    "Set this computer's clock from the network. Dates decide what a second copy run skips.",
		Source: "common practice, no source",
	}
	cacheNotPassed = &checks.Rule{
		ID: "cache-not-passed", Level: checks.Warn,
		When:   "this system offers no way to read past its cache: what the trial read back may never have left this computer",
		Fix:    "Nothing to do before copying. After copying, unmount the share, mount it again and only then check the copy.",
		Source: "open(2) O_DIRECT, posix_fadvise(2), mincore(2), fcntl(2) F_NOCACHE",
	}
	trialLeftBehind = &checks.Rule{
		ID: "trial-left-behind", Level: checks.Warn,
		When:   "a trial folder is left on the share, from an earlier check, or from this one if it was stopped or the share stopped responding",
		Fix:    "Remove it (the command does with -clean-trial), or it will travel as part of the archive.",
		Source: "own marker in the folder",
	}
)

// The limits of the clocks (common practice, no source).
const (
	skewWarn = 2 * time.Second
	skewFail = 300 * time.Second
)

// try is the write trial; tests step in between.
var try = share.Try

// noTrial is why nothing was tried where the person wants nothing written.
var noTrial = &checks.NotAsked{Why: "Nothing was written on the share, as you asked (-no-trial)."}

var shareWrites = &checks.Check{
	ID: "share-writes", Title: "The share takes writes and gives them back", Group: checks.GroupShare, NeedsShare: true,
	Doc: "Makes one marked folder on the share, writes files into it, flushes and closes them, reads them " +
		"back past this computer's cache, renames, dates and removes them, and measures how fast that " +
		"goes. Mount tables and permission bits can be wrong; a write cannot. The folder is removed again.",
	Fix:   "Correct what the findings name, then check again; copy nothing before this passes.",
	Rules: []*checks.Rule{shareReadOnly, shareDenied, writeLost, shareFull, staleHandle, ownerNotKept, clockSkew, cacheNotPassed, trialLeftBehind},
	Needs: []*checks.Check{ShareMounted},
	Begin: func(*checks.Pass) any { return &share.Result{} },
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		s := checks.StateOf[shareState](pass, ShareMounted)
		switch {
		case pass.Job.NoTrial:
			return noTrial
		case s == nil:
			return errors.New("nothing is known about the share")
		case !s.Usable:
			return errors.New("nothing was written: " + s.Why)
		}
		wishes := share.Wishes{
			Deadline: pass.Job.Deadline,
			Progress: func(done float64, doing string) { pass.Step(doing, done) },
		}
		switch {
		case pass.Job.NamesOnly:
			wishes.Bytes, wishes.Files = 4096, 1
		case pass.Job.StandIn != nil:
			wishes.Bytes = 4 << 20 // its rate says nothing of a share
		}
		if err := stillMounted(ctx, pass, s.Facts); err != nil {
			return err
		}
		if pass.Job.CleanTrial {
			if err := cleanTrials(ctx, pass, s.Facts.Path); err != nil {
				return err
			}
		}
		got, err := try(ctx, s.Facts.Path, wishes)
		if got != nil {
			pass.State = got
			judgeTrial(pass, got)
		}
		if err != nil {
			return err
		}
		if err := stillMounted(ctx, pass, s.Facts); err != nil {
			return err
		}
		pass.Describe(func(rep *checks.Report) { rep.Trial = got })
		return nil
	},
}

// cleanTrials removes the marked folders that earlier trials left behind. One that cannot be removed, since
// it holds what no trial makes, is left as it is; the trial then finds it again.
func cleanTrials(ctx context.Context, pass *checks.Pass, folder string) error {
	left, err := share.LeftBehind(ctx, folder)
	if err != nil {
		return fmt.Errorf("earlier trial folders could not be looked for: %w", err)
	}
	var removed, kept []string
	for _, p := range left {
		err := share.Remove(ctx, p)
		switch {
		case err == nil:
			removed = append(removed, p)
		case ctx.Err() != nil, share.Silent(err):
			for _, p := range left[len(removed)+len(kept):] {
				pass.FlagJob(trialLeftBehind, "%s", names.Quote(p))
			}
			return fmt.Errorf("the earlier trial folder %s could not be removed: %w", names.Quote(p), err)
		default:
			kept = append(kept, checks.Plain(err.Error()))
		}
	}
	if len(removed) > 0 {
		pass.Fact("removed_trials", removed, "Removed what earlier checks left: %s", checks.QuoteList(removed))
	}
	if len(kept) > 0 {
		pass.Fact("kept_trials", kept, "Not removed: %s", strings.Join(kept[:min(len(kept), 3)], "; "))
	}
	return nil
}

// judgeTrial turns what the write trial measured into findings and facts.
func judgeTrial(pass *checks.Pass, got *share.Result) {
	byID := map[string]*checks.Rule{}
	for _, r := range pass.Check.Rules {
		byID[r.ID] = r
	}
	for _, p := range got.Problems {
		r := byID[p.Rule]
		if r == nil {
			r = writeLost // a problem that no rule names is never dropped
		}
		detail := p.Detail
		if p.Err != nil {
			detail = strings.TrimPrefix(fmt.Sprintf("%s: %v", detail, p.Err), ": ")
		}
		pass.Add(checks.Finding{Rule: r, Level: r.Level, Detail: detail})
	}
	if got.ClockKnown {
		ahead := got.ClockAhead.Abs()
		pass.Fact("clock_ahead_seconds", got.ClockAhead.Seconds(), "Its clock differs by %s", checks.Span(ahead))
		which := "ahead of"
		if got.ClockAhead < 0 {
			which = "behind"
		}
		f := checks.Finding{Rule: clockSkew, Level: checks.Warn, Detail: fmt.Sprintf("the share's clock is %s %s this computer's", checks.Span(ahead), which)}
		if ahead > skewFail {
			f.Level = checks.Fail
		}
		if ahead > skewWarn {
			pass.Add(f)
		}
	}
	for _, p := range got.LeftBehind {
		pass.FlagJob(trialLeftBehind, "%s", names.Quote(p))
	}
	if got.Own != "" {
		pass.FlagJob(trialLeftBehind, "%s, of this check, which could not remove it", names.Quote(got.Own))
	}
	if got.Rate > 0 {
		pass.Fact("write_bytes_per_second", int64(got.Rate), "Wrote %s at %s (%s to %s)",
			checks.Bytes(got.Written), checks.Rate(got.Rate), checks.Rate(got.RateLow), checks.Rate(got.RateHigh))
	}
	if got.PerFile > 0 {
		pass.Fact("small_file_seconds", got.PerFile.Seconds(), "A small file takes %s", checks.Span(got.PerFile))
	}
	if got.Unit > 0 {
		pass.Fact("allocation_unit", got.Unit, "Allocates in units of %s bytes", checks.Count(got.Unit))
	}
	switch {
	case got.FromCache:
		pass.FlagJob(cacheNotPassed, "what was read back may have come from this computer's memory")
		pass.Fact("past_cache", "", "Read back from this computer's cache only: no way past it was found")
	case got.PastCache != "":
		pass.Fact("past_cache", got.PastCache, "Read back past this computer's cache by %s", got.PastCache)
	}
	switch {
	case len(got.Problems) > 0:
		pass.Summarize("The write trial on the share failed.")
	case got.Rate > 0:
		pass.Summarize("Wrote, flushed and read back %s at %s; a small file takes %s.", checks.Bytes(got.Written), checks.Rate(got.Rate), checks.Span(got.PerFile))
	default:
		pass.Summarize("Wrote, flushed and read back a trial file.")
	}
}

var (
	nameCutShort = &checks.Rule{
		ID: "name-cut-short", Level: checks.Fail,
		When:   "a name over the limit is taken, or comes back changed",
		Fix:    "Do not rely on this share for long names: rename to well under its limit, and compare names after copying.",
		Source: "RFC 1813 PATHCONF no_trunc",
	}
	foldsCase = &checks.Rule{
		ID: "folds-case", Level: checks.Warn,
		When:   "the share takes A and a for one name; names that differ only in case then overwrite each other",
		Fix:    "Rename the twins that “No two names collide” lists.",
		Source: "RFC 1813 PATHCONF case_insensitive",
	}
	foldsNormalForm = &checks.Rule{
		ID: "folds-normal-form", Level: checks.Warn,
		When:   "the share changes the Unicode normal form of names, or takes two forms for one",
		Fix:    "Rename files whose names are not in normal form C, so that keys are what you expect.",
		Source: "UAX #15",
	}
	refusesCharacter = &checks.Rule{
		ID: "refuses-character", Level: checks.Fail,
		When:   "the name contains a character that the share refuses or changes",
		Fix:    "Rename the file without that character.",
		Source: "RFC 7530 §13.1.7.1, NFS4ERR_BADCHAR; measured on vfat",
	}
)

var shareNames = &checks.Check{
	ID: "share-names", Title: "The share keeps names as they are", Group: checks.GroupShare, NeedsShare: true,
	Doc: "Makes files with long, unusual and nearly equal names in the trial folder and reads the listing " +
		"back. The key of every object is its name: what the share cuts, folds or refuses does not arrive " +
		"as you named it.",
	Fix:   "Rename what the findings list before you copy.",
	Rules: []*checks.Rule{nameCutShort, foldsCase, foldsNormalForm, refusesCharacter},
	Needs: []*checks.Check{shareWrites},
	Begin: func(pass *checks.Pass) any {
		got := checks.StateOf[share.Result](pass, shareWrites)
		if got == nil || !got.NamesTried {
			return (*checks.Refusals)(nil)
		}
		return checks.NewRefusals(got)
	},
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		r := pass.State.(*checks.Refusals)
		if r == nil || !r.Any() {
			return
		}
		for i := range d.Entries {
			e := &d.Entries[i]
			if f, refused := r.Name(e.Name); refused {
				pass.Flag(d, e, refusesCharacter, "the share %s", keeping(f))
			}
		}
	},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		if pass.State.(*checks.Refusals) == nil {
			return errors.New("names could not be tried on the share; see the check above")
		}
		got := checks.StateOf[share.Result](pass, shareWrites)
		if got.CutsShort {
			pass.FlagJob(nameCutShort, "a name over the limit was taken or came back changed")
		}
		if got.FoldsCase {
			pass.FlagJob(foldsCase, "made a file with a capital, and the same name in lower case opened it")
		}
		if got.FoldsForms {
			pass.FlagJob(foldsNormalForm, "the decomposed and the composed form of one name are one file there, or come back changed")
		}
		if got.NameLimit > 0 {
			pass.Fact("name_limit", got.NameLimit, "Takes names of up to %d bytes", got.NameLimit)
		}
		pass.Fact("folds_case", got.FoldsCase, "%s", choose(got.FoldsCase, "Folds case", "Distinguishes upper and lower case"))
		pass.Fact("folds_normal_form", got.FoldsForms, "%s", choose(got.FoldsForms, "Folds normal forms", "Keeps normal forms as given"))
		var refused []string
		for _, r := range got.Refused {
			refused = append(refused, refusalText(r))
		}
		if len(refused) > 0 {
			pass.Fact("refuses", refused, "Refuses or changes: %s", strings.Join(refused, ", "))
		}
		kept := "Every kind of name that was tried came back as it was"
		if len(refused) > 0 || got.FoldsCase || got.FoldsForms || got.CutsShort {
			kept = "Some kinds of names do not come back as they were"
		}
		pass.Summarize("%s. Longest name: %d bytes.", kept, got.NameLimit)
		return nil
	},
}

func choose[T any](is bool, yes, no T) T {
	if is {
		return yes
	}
	return no
}

// keeping says what the share does to a name that it does not keep.
func keeping(f share.Refusal) string {
	if f.Err != nil {
		return "refuses " + refusalText(f)
	}
	return "changes names with " + refusalText(f)
}

func refusalText(f share.Refusal) string {
	if f.Habit != "" {
		return strings.ReplaceAll(f.Habit, "-", " ")
	}
	return checks.Character(f.Rune)
}
