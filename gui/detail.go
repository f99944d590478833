package gui

import (
	"strings"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/kit"
)

// detail is what an open card says: what to do, what was looked at, the numbers with their limits,
// and every rule with its count and source.
func detail(k *card, do cardActions) fyne.CanvasObject {
	var left, right []fyne.CanvasObject
	res := k.result
	if res != nil && res.Status != checks.Passed {
		if res.Reason != "" && res.Status == checks.Unknown {
			left = append(left, section("Why it was not checked", res.Reason))
		}
		todo := k.check.Fix
		if res.Optional && offersReading(k) { // nobody has asked for it: nothing was found that wants a cure
			todo = "Read the whole disk while there is time for it: the button is below. This warns of a failing disk before the copy does."
		}
		left = append(left, section("What to do", todo))
	}
	left = append(left, section("What is checked, and why", k.check.Doc))
	var below []fyne.CanvasObject // commands: they have no room beside something
	if res != nil && len(res.Facts) > 0 {
		lines := []fyne.CanvasObject{heading("Numbers and limits")}
		for _, f := range res.Facts {
			text := kit.NewParagraph(f.Text, kit.SizeBody, kit.ColText)
			if len(f.Commands) == 0 {
				lines = append(lines, text)
				continue
			}
			block := []fyne.CanvasObject{text}
			for _, c := range f.Commands {
				block = append(block, commandLine(c, do.copy))
			}
			below = append(below, kit.NewColumn(6, block...))
		}
		if len(lines) > 1 {
			right = append(right, kit.NewColumn(3, lines...))
		}
	}
	if whichDisks(k.disks) != "" {
		lines := []fyne.CanvasObject{heading("Flagged on each disk")}
		for i, n := range k.disks {
			lines = append(lines, kit.NewParagraph(capitalize(diskWord(i))+": "+checks.Plural(n, "finding"), kit.SizeBody, kit.ColText))
		}
		right = append(right, kit.NewColumn(3, lines...))
	}
	parts := []fyne.CanvasObject{kit.NewRule()}
	if res != nil && res.Summary != "" && strings.TrimSuffix(res.Summary, ".") != strings.TrimSuffix(res.Reason, ".") { // whole: a shut card may have to cut it
		parts = append(parts, kit.NewParagraph(res.Summary, kit.SizeTitle, kit.ColText))
	}
	if len(right) == 0 {
		parts = append(parts, kit.NewColumn(kit.GapMid, left...))
	} else {
		parts = append(parts, kit.NewSideBySide(36, kit.NewColumn(kit.GapMid, left...), kit.NewColumn(kit.GapMid, right...)))
	}
	parts = append(parts, below...)
	several := do.several != nil && do.several()
	var buttons, hints []fyne.CanvasObject
	if res != nil && len(res.Findings) > 0 {
		b := kit.NewButton(kit.Plain, "find", showWords(res), func() { do.files(k.check) })
		k.files = b
		buttons = append(buttons, b)
		switch {
		case k.check.Group != checks.GroupNames || res.Status == checks.Passed || do.fix == nil:
		case several:
			hints = append(hints, kit.NewParagraph(oneDiskFix, kit.SizeBody, kit.ColMuted))
		default:
			buttons = append(buttons, kit.NewButton(kit.Plain, "wrench", "Fix names", do.fix))
		}
		if res.Rules[ruleSameContent] > 0 {
			buttons = append(buttons, kit.NewButton(kit.Plain, "document", "List equal files", do.equal))
		}
		if res.Rules[ruleTrialLeft] > 0 {
			buttons = append(buttons, kit.NewButton(kit.Plain, "wrench", "Remove the trial folder", do.clean))
		}
	}
	k.read = nil
	if do.read != nil && offersReading(k) {
		k.read = kit.NewButton(kit.Plain, "disk", "Read the whole disk", do.read)
		buttons = append(buttons, k.read)
		if do.sleepy != nil && do.sleepy() {
			parts = append(parts, kit.NewParagraph(maySleep, kit.SizeBody, kit.ColWarn))
		}
	}
	if do.split != nil && k.check.ID == checkSpace && res != nil {
		if several {
			hints = append(hints, kit.NewParagraph(oneDiskSplit, kit.SizeBody, kit.ColMuted))
		} else {
			buttons = append(buttons, kit.NewButton(kit.Plain, "boxes", "Divide among boxes", do.split))
		}
	}
	if len(buttons) > 0 {
		parts = append(parts, kit.NewRow(kit.GapSmall, buttons...))
	}
	parts = append(parts, hints...)
	rules := []fyne.CanvasObject{heading("Rules and their sources")}
	for _, r := range k.check.Rules {
		rules = append(rules, ruleLine(r, res))
	}
	parts = append(parts, kit.NewColumn(7, rules...))
	return kit.NewColumn(kit.GapMid, parts...)
}

// showWords says what the button to the flagged files will show.
func showWords(res *checks.Result) string {
	n := int64(len(res.Findings))
	if n == 1 {
		return "Show the one finding"
	}
	return "Show all " + checks.Count(n) + " findings"
}

// commandLine shows a command that can be typed as it stands, and a button that copies it.
func commandLine(command string, copied func(string)) fyne.CanvasObject {
	return kit.NewSurface(kit.ColInset, "", kit.NewStretch(8, 0, kit.NewParagraph(names.Quote(command), kit.SizeBody-1, kit.ColText).Mono(),
		kit.NewButton(kit.Quiet, "copy", "Copy", func() { copied(command) }))).Pad(10, 2).Round(6)
}

func heading(s string) fyne.CanvasObject { return kit.NewText(s, kit.SizeSmall, kit.ColMuted).Bold() }

func section(title, text string) fyne.CanvasObject {
	return kit.NewColumn(3, heading(title), kit.NewParagraph(text, kit.SizeBody, kit.ColText))
}

// ruleLine shows one rule: how often it was broken, what triggers it, and where that comes from.
func ruleLine(r *checks.Rule, res *checks.Result) fyne.CanvasObject {
	n, worst := int64(0), checks.Note
	if r.Counted {
		worst = r.Level
	}
	if res != nil {
		n, worst = res.Rules[r.ID], max(worst, res.Worst[r.ID])
	}
	m := kit.NewMark("waiting", kit.ColIdle, 15)
	text := capitalize(r.When)
	if n > 0 {
		l := levelBadge(worst)
		m.Set(l.Mark, l.Color)
		text = checks.Count(n) + " ×  " + text
	}
	body := []fyne.CanvasObject{kit.NewParagraph(text, kit.SizeBody, kit.ColText)}
	if n > 0 {
		body = append(body, kit.NewParagraph(r.Fix, kit.SizeBody, kit.ColMuted))
	}
	body = append(body, kit.NewParagraph("Source: "+r.Source, kit.SizeSmall, kit.ColMuted))
	return kit.NewHanging(26, kit.NewSized(15, 20, m), kit.NewColumn(1, body...))
}

// capitalize writes the first letter of a sentence large.
func capitalize(s string) string {
	if first, _, _ := strings.Cut(s, " "); mountWords[strings.TrimRight(first, ",")] {
		return s
	}
	return checks.Capitalize(s)
}

// mountWords are options of nfs(5) that a sentence may begin with: they are written as they are typed.
var mountWords = map[string]bool{"rsize": true, "wsize": true, "timeo": true, "noac": true, "sync": true, "actimeo=0": true, "lookupcache=none": true, "soft": true, "softerr": true, "nolock": true, "local_lock": true}
