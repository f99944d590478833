package gui

import (
	"time"

	"loadline/checks"
)

const (
	sampleSource = "/media/reel/harvest film"
	sampleShare  = "/mnt/box/in"
)

// sampleChecks are checks with texts of their own, so that the goldens speak of the window and not
// of what the real checks say.
var sampleChecks = map[checks.Stage][]*checks.Check{
	checks.Before: {
		sampleCheck("share-mounted", "The share is mounted", checks.GroupShare),
		sampleCheck("free-space", "The copy fits on the share", checks.GroupShare),
		sampleCheck("name-length", "No name is too long", checks.GroupNames),
		sampleCheck("name-characters", "Names use safe characters", checks.GroupNames),
		sampleCheck("metadata", "No attributes or access lists to lose", checks.GroupFiles),
		sampleCheck("copy-time", "The copy ends in time", checks.GroupTime),
	},
	checks.After: {
		sampleCheck("on-share", "Every file is on the share", checks.GroupCopy),
		sampleCheck("content", "Every byte on the share is right", checks.GroupCopy),
	},
	checks.Arrival: {
		sampleCheck("objects", "Every file is an object", checks.GroupArrival),
		sampleCheck("keys", "Every key is as it should be", checks.GroupArrival),
	},
	checks.Recheck: {
		sampleCheck("copy-complete", "Every file of the manifest is in the copy", checks.GroupCopy),
		sampleCheck("copy-content", "Every file has the content of the manifest", checks.GroupCopy),
	},
}

func sampleCheck(id, title string, g checks.Group) *checks.Check {
	return &checks.Check{
		ID: id, Title: title, Group: g,
		Doc: "Looks at every name of the disk. A name that the store refuses costs another round of shipping.",
		Fix: "Give the names that are listed shorter ones; keep their endings.",
		Rules: []*checks.Rule{
			{ID: id + "-bad", Level: checks.Fail, When: "the name is longer than the share takes", Fix: "Shorten it.", Source: "limits.h, NAME_MAX"},
			{ID: id + "-odd", Level: checks.Warn, When: "the name begins with a space", Fix: "Take the space away.", Source: "common practice, no source"},
		},
	}
}

// sample is a report in which every status appears, with numbers for the drawings.
func sample() *checks.Report {
	at := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	rep := &checks.Report{
		Stage: checks.Before, Version: "test", Started: at, Finished: at.Add(time.Minute),
		Source: checks.Place{Path: sampleSource, Type: "exfat", From: "/dev/sdb1", Free: -1, Total: -1},
		Share:  &checks.Place{Path: sampleShare, From: "box.invalid:/export", Type: "nfs4", Prefix: "2026-harvest", Free: 5_400_000_000_000, Total: 8_000_000_000_000},
		Totals: checks.Totals{Files: 412_906, Folders: 8_120, Bytes: 1_820_000_000_000},
		Largest: []checks.FolderSum{
			{Path: "day 01", Files: 1204, Bytes: 900_000_000_000, Flagged: [3]int{4, 2, 1}},
			{Path: "day 02", Files: 804, Bytes: 610_000_000_000, Flagged: [3]int{0, 3, 0}},
			{Path: "sound/\u202eboom", Files: 90, Bytes: 40_000_000_000},
		},
	}
	for _, c := range sampleChecks[checks.Before] {
		r := checks.Result{Check: c, ID: c.ID, Title: c.Title, Status: checks.Passed, Summary: "Looked at and found good.", Rules: map[string]int64{}, Worst: map[string]checks.Level{}}
		add := func(path string, rule int, level checks.Level, size int64) {
			r.Findings = append(r.Findings, checks.Finding{Path: path, Rule: c.Rules[rule], Level: level, Size: size, Detail: "name is 271 bytes, the share takes 255"})
			r.Rules[c.Rules[rule].ID]++
			r.Levels[level]++
			r.Worst[c.Rules[rule].ID] = max(r.Worst[c.Rules[rule].ID], level)
		}
		switch c.ID {
		case "name-length":
			add("day 01/a long name.mov", 0, checks.Fail, 96_000)
			r.Summary = "The longest name has 271 bytes; the share takes 255."
		case "name-characters":
			add("day 01/=cmd.mov", 1, checks.Warn, 12)
			add("day 02/Plain note.txt", 0, checks.Note, 0)
			add("day 02/two\nlines.txt", 1, checks.Warn, 64)
		case "metadata":
			r.Reason = "Extended attributes cannot be read on this system."
			r.Summary = r.Reason
		case "free-space":
			r.Facts = []checks.Fact{
				{Key: "need_bytes", Value: int64(1_820_000_000_000), Text: "Needed: 1.8 TB"},
				{Key: "free_bytes", Value: int64(5_400_000_000_000), Text: "Free: 5.4 TB of 8.0 TB"},
				{Key: "total_bytes", Value: int64(8_000_000_000_000), Text: "Size of the share: 8.0 TB"},
				{Key: "left_bytes", Value: int64(3_580_000_000_000), Text: "Left after the copy: 3.6 TB"},
				{Key: "margin_bytes", Value: int64(36_400_000_000), Text: "Should be left: 36 GB"},
			}
		case "copy-time":
			r.Facts = []checks.Fact{
				{Key: "estimate_low_seconds", Value: 15120.0, Text: "Estimate: 4 h 12 min to 5 h 2 min"},
				{Key: "estimate_high_seconds", Value: 18120.0, Text: "At the slow end: 5 h 2 min"},
				{Key: "battery_seconds", Value: 21600.0, Text: "Battery of the appliance: 6 h, of which 4 h 48 min are safe"},
				{Key: "uplink_seconds", Value: 728000.0, Text: "Over the uplink of 20 Mb/s instead: 8 days 10 h"},
			}
			add("", 0, checks.Fail, 0)
		}
		r.Status = checks.Derive(r.Levels, r.Reason)
		rep.Checks = append(rep.Checks, r)
	}
	rep.Verdict = checks.Verdict(rep.Checks)
	return rep
}

// clean is a report in which all is well.
func clean() *checks.Report {
	rep := sample()
	for i := range rep.Checks {
		r := &rep.Checks[i]
		r.Findings, r.Levels, r.Reason, r.Rules, r.Worst, r.Status = nil, [3]int{}, "", map[string]int64{}, map[string]checks.Level{}, checks.Passed
	}
	rep.Verdict = checks.Verdict(rep.Checks)
	return rep
}
