package gui

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
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
		left = append(left, section("What to do", k.check.Fix))
	}
	left = append(left, section("What is looked at, and why", k.check.Doc))
	if res != nil && len(res.Facts) > 0 {
		lines := []fyne.CanvasObject{heading("Numbers and limits")}
		for _, f := range res.Facts {
			lines = append(lines, newParagraph(f.Text, sizeBody, colText))
		}
		right = append(right, newColumn(3, lines...))
	}
	parts := []fyne.CanvasObject{newRule()}
	if res != nil && res.Summary != "" && strings.TrimSuffix(res.Summary, ".") != strings.TrimSuffix(res.Reason, ".") { // whole: a shut card may have to cut it
		parts = append(parts, newParagraph(res.Summary, sizeTitle, colText))
	}
	if len(right) == 0 {
		parts = append(parts, newColumn(gapMid, left...))
	} else {
		parts = append(parts, container.New(&pair{gap: 36}, newColumn(gapMid, left...), newColumn(gapMid, right...)))
	}
	if res != nil && len(res.Findings) > 0 {
		var buttons []fyne.CanvasObject
		b := newButton(plain, "find", showWords(res), func() { do.files(k.check) })
		k.files = b
		buttons = append(buttons, b)
		if k.check.Group == checks.GroupNames && res.Status != checks.Passed && do.fix != nil {
			buttons = append(buttons, newButton(plain, "wrench", "Fix names", do.fix))
		}
		if res.Rules[ruleTrialLeft] > 0 {
			buttons = append(buttons, newButton(plain, "wrench", "Remove the trial folder", do.clean))
		}
		parts = append(parts, newRow(gapSmall, buttons...))
	}
	rules := []fyne.CanvasObject{heading("Rules and their sources")}
	for _, r := range k.check.Rules {
		rules = append(rules, ruleLine(r, res))
	}
	parts = append(parts, newColumn(7, rules...))
	return newColumn(gapMid, parts...)
}

// showWords says what the button to the flagged files will show.
func showWords(res *checks.Result) string {
	n := int64(len(res.Findings))
	if n == 1 {
		return "Show the one finding"
	}
	return "Show all " + checks.Count(n) + " findings"
}

func heading(s string) fyne.CanvasObject { return newText(s, sizeSmall, colMuted).bold() }

func section(title, text string) fyne.CanvasObject {
	return newColumn(3, heading(title), newParagraph(text, sizeBody, colText))
}

// ruleLine shows one rule: how often it was broken, what triggers it, and where that comes from.
func ruleLine(r *checks.Rule, res *checks.Result) fyne.CanvasObject {
	n := int64(0)
	if res != nil {
		n = res.Rules[r.ID]
	}
	m := newMark("waiting", colIdle, 15)
	text := capital(r.When)
	if n > 0 {
		l := lookOfLevel(worst(r, res))
		m.set(l.mark, l.color)
		text = checks.Count(n) + " ×  " + text
	}
	body := []fyne.CanvasObject{newParagraph(text, sizeBody, colText)}
	if n > 0 {
		body = append(body, newParagraph(r.Fix, sizeBody, colMuted))
	}
	body = append(body, newParagraph("Source: "+r.Source, sizeSmall, colMuted))
	return container.New(&hung{indent: 26}, newSized(15, 20, m), newColumn(1, body...))
}

// worst is the highest level at which a rule was broken.
func worst(r *checks.Rule, res *checks.Result) checks.Level {
	if r.Counted {
		return r.Level
	}
	level := checks.Note
	for i := range res.Findings {
		if f := &res.Findings[i]; f.Rule == r && f.Level > level {
			if level = f.Level; level == checks.Fail {
				break
			}
		}
	}
	return level
}

func capital(s string) string {
	if s == "" {
		return s
	}
	if first, _, _ := strings.Cut(s, " "); mountWords[strings.TrimRight(first, ",")] {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// mountWords are options of nfs(5) that a sentence may begin with: they are written as they are typed.
var mountWords = map[string]bool{"rsize": true, "wsize": true, "timeo": true, "noac": true, "sync": true, "actimeo=0": true, "lookupcache=none": true, "soft": true, "softerr": true, "nolock": true, "local_lock": true}

// pair puts two things beside each other, or one under the other where it is narrow.
type pair struct{ gap float32 }

const pairWide = 640

func (p *pair) half(w float32) float32 { return (w - p.gap) / 2 }

func (p *pair) Layout(o []fyne.CanvasObject, s fyne.Size) {
	if s.Width < pairWide {
		h := heightOf(o[0], s.Width)
		place(o[0], 0, 0, s.Width, h)
		place(o[1], 0, h+gapMid, s.Width, heightOf(o[1], s.Width))
		return
	}
	w := p.half(s.Width)
	place(o[0], 0, 0, w, heightOf(o[0], w))
	place(o[1], w+p.gap, 0, w, heightOf(o[1], w))
}

func (p *pair) heightFor(o []fyne.CanvasObject, w float32) float32 {
	if w < pairWide {
		return heightOf(o[0], w) + gapMid + heightOf(o[1], w)
	}
	h := p.half(w)
	return max(heightOf(o[0], h), heightOf(o[1], h))
}

func (p *pair) MinSize(o []fyne.CanvasObject) fyne.Size {
	a, b := o[0].MinSize(), o[1].MinSize()
	return fyne.NewSize(max(a.Width, b.Width), max(a.Height, b.Height))
}

// hung puts a mark to the left of the first line of a text.
type hung struct{ indent float32 }

func (h *hung) Layout(o []fyne.CanvasObject, s fyne.Size) {
	m := o[0].MinSize()
	place(o[0], 0, 0, m.Width, m.Height)
	place(o[1], h.indent, 0, s.Width-h.indent, s.Height)
}

func (h *hung) heightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(o[0].MinSize().Height, heightOf(o[1], w-h.indent))
}

func (h *hung) MinSize(o []fyne.CanvasObject) fyne.Size {
	a, b := o[0].MinSize(), o[1].MinSize()
	return fyne.NewSize(h.indent+b.Width, max(a.Height, b.Height))
}
