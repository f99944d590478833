package before

import (
	"context"
	"math"
	"time"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	smallFiles = &checks.Rule{
		ID: "small-files", Level: checks.Warn,
		When:   "the time for calls, not for bytes, is over 25 % of an estimated copy of over a second",
		Fix:    "Pack folders of many small files into one file each before copying (POSIX pax).",
		Source: "common practice, no source; 10 calls per file on version 3, 11 on 4.2, measured",
	}
	hugeFolder = &checks.Rule{
		ID: "huge-folder", Level: checks.Warn,
		When:   "the folder has over 100,000 entries",
		Fix:    "Split it into several, or pack it into one file.",
		Source: "common practice, no source",
	}
)

const (
	hugeEntries     = 100_000 // common practice, no source
	smallFilesShare = 0.25    // of the estimate (common practice, no source)
	// smallFilesLeast keeps a copy that is over at once from being called slow.
	smallFilesLeast = time.Second
)

var folderLoad = &checks.Check{
	ID: "folder-load", Title: "Folders and files are of a workable size", Group: checks.GroupTime,
	Doc: "Every file costs the share about ten calls whatever its size, and every listing of a huge folder costs " +
		"it memory. Very many small files make a copy slow where bytes alone would not.",
	Fix:   "Pack what is listed into one file per folder (POSIX pax), or split it.",
	Rules: []*checks.Rule{smallFiles, hugeFolder},
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		if len(d.Entries) > hugeEntries {
			pass.FlagFinding(d, checks.Finding{
				Path: d.Path, Rule: hugeFolder, Level: hugeFolder.Level,
				Detail: checks.Count(int64(len(d.Entries))) + " entries, over " + checks.Count(hugeEntries) + " are slow to list",
			})
		}
	},
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		n := &pass.Tally().Copy
		doubles, err := foretold(ctx, pass)
		if err != nil {
			return err
		}
		files := n.Files + doubles.Files
		mean := int64(0)
		if n.Files > 0 {
			mean = n.Bytes / n.Files
		}
		pass.Fact("mean_bytes", mean, "Mean size of a file: %s", checks.Bytes(mean))
		got := checks.StateOf[share.Result](pass, shareWrites)
		if got == nil || got.PerFile <= 0 || got.Rate <= 0 {
			pass.Summarize("%s, %s each on average. How long a small file takes is not known yet.", checks.Plural(n.Files, "file"), checks.Bytes(mean))
			return nil
		}
		calls := seconds(float64(files) * got.PerFile.Seconds())
		whole := seconds(calls.Seconds() + float64(n.Bytes+doubles.Bytes)/got.Rate)
		part := 0.0
		if whole > 0 {
			part = float64(calls) / float64(whole)
		}
		pass.Fact("calls_share", part, "Opening, closing and naming files: %s of %s", checks.Span(calls), checks.Span(whole))
		if part > smallFilesShare && whole > smallFilesLeast {
			pass.FlagJob(smallFiles, "opening, closing and naming %s takes %s, %.0f %% of the time of the copy; over 25 %% is slow", checks.Plural(files, "file"), checks.Span(calls), part*100)
		}
		pass.Summarize("%s, %s each on average; opening, closing and naming them takes %s of %s.", checks.Plural(n.Files, "file"), checks.Bytes(mean), checks.Span(calls), checks.Span(whole))
		return nil
	},
}

// seconds makes a duration of a number of seconds, however large.
func seconds(s float64) time.Duration {
	if ns := s * float64(time.Second); ns < math.MaxInt64 {
		return time.Duration(ns)
	}
	return math.MaxInt64
}
