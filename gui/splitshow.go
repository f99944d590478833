package gui

import (
	"fmt"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/split"
	"loadline/gui/kit"
)

// fillSide fills the side with the boxes, and with what is not in one.
func (p *splitPage) fillSide() {
	p.choices = nil
	add := func(c *kit.Choice) {
		i := len(p.choices)
		c.OnTapped = func() { p.pick(i) }
		c.OnStep = func(d int) {
			if at := i + d; at >= 0 && at < len(p.choices) {
				p.pick(at)
				p.w.win.Canvas().Focus(p.choices[at])
			}
		}
		p.choices = append(p.choices, c)
	}
	for i := range p.plan.Loads {
		l := &p.plan.Loads[i]
		c := kit.NewChoice(fmt.Sprintf("Box %d", i+1), nil)
		c.Aside = checks.Bytes(l.Size)
		if l.Files == 0 {
			c.Says = "not needed"
			c.Bar = &kit.Fill{Line: 1, Color: kit.ColAccent}
		} else {
			c.Says = checks.Plural(l.Files, "file") + ", " + checks.Bytes(l.Bytes) + "; " + checks.Bytes(l.Size-l.Need.Bytes) + " left"
			c.Bar = &kit.Fill{
				Part: float64(l.Need.Bytes) / float64(l.Size), Line: float64(l.Size-l.Need.Margin()) / float64(l.Size), Color: kit.ColAccent,
			}
		}
		add(c)
	}
	if n := int64(len(p.plan.Torn)); n > 0 {
		c := kit.NewChoice("Not in one box", nil)
		c.Badge = levelBadge(checks.Note)
		c.Says = checks.Plural(n, "folder") + " taken apart"
		add(c)
	}
	if n := int64(len(p.plan.Left)); n > 0 {
		c := kit.NewChoice("Left out", nil)
		c.Badge = levelBadge(checks.Fail)
		c.Says = checks.Plural(n, "path") + " on no list"
		add(c)
	}
	p.picks.Objects = nil
	for _, c := range p.choices {
		p.picks.Objects = append(p.picks.Objects, c)
	}
	p.picks.Refresh()
	p.pick(0)
}

// pick shows what is in a box, or what is in none.
func (p *splitPage) pick(i int) {
	p.shown = i
	for k, c := range p.choices {
		c.SetChosen(k == i)
	}
	p.table = p.tables[0]
	if p.load() == nil {
		p.table = p.tables[1]
	}
	for _, t := range p.tables {
		kit.SetVisible(t, t == p.table)
		t.Choose(-1)
		t.Top = 0
	}
	p.table.Renew()
	p.choose(-1)
}

// load is the box that is shown; nil where it is what is torn or left.
func (p *splitPage) load() *split.Load {
	if p.plan != nil && p.shown < len(p.plan.Loads) {
		return &p.plan.Loads[p.shown]
	}
	return nil
}

func (p *splitPage) showsTorn() bool {
	return p.plan != nil && len(p.plan.Torn) > 0 && p.shown == len(p.plan.Loads)
}

func (p *splitPage) rows() int {
	switch l := p.load(); {
	case p.plan == nil:
		return 0
	case l != nil:
		return len(l.Holds)
	case p.showsTorn():
		return len(p.plan.Torn)
	}
	return len(p.plan.Left)
}

func (p *splitPage) cell(row, col int) kit.Cell {
	path, what, files, bytes := p.row(row)
	switch col {
	case 0:
		if path == "" {
			return kit.Cell{Text: "(the source itself)", Color: kit.ColMuted}
		}
		return kit.Cell{Text: names.Quote(path)}
	case 1:
		return kit.Cell{Text: capitalize(checks.Plain(what)), Color: kit.ColMuted}
	case 2:
		if files > 0 {
			return kit.Cell{Text: checks.Count(files)}
		}
	default:
		if files > 0 {
			return kit.Cell{Text: checks.Bytes(bytes)}
		}
	}
	return kit.Cell{Text: "—", Color: kit.ColMuted}
}

// row is one row of what is shown.
func (p *splitPage) row(i int) (path, what string, files, bytes int64) {
	switch l := p.load(); {
	case l != nil:
		h := &l.Holds[i]
		what = "the whole folder"
		if !h.Whole {
			what = "files in the folder itself"
		}
		return h.Path, what, h.Files, h.Bytes
	case p.showsTorn():
		t := &p.plan.Torn[i]
		return t.Path, t.Why, 0, 0
	}
	l := &p.plan.Left[i]
	return l.Path, l.Why, l.Files, l.Bytes
}

// choose shows one row in full at the foot; without one, the box as a whole.
func (p *splitPage) choose(row int) {
	if p.plan == nil {
		return
	}
	l := p.load()
	kit.SetVisible(p.use, p.dir != "" && l != nil && l.Files > 0)
	kit.SetVisible(p.open, p.dir != "")
	if row < 0 || row >= p.rows() {
		p.path.Set("", "")
		p.why.Set(p.shownWords(l), kit.ColMuted)
		kit.Relayout(p.root)
		return
	}
	path, what, files, bytes := p.row(row)
	shown := names.Quote(path)
	if path == "" {
		shown = "The source itself"
	}
	p.path.Set(shown, "")
	text := capitalize(checks.Plain(what))
	switch {
	case l != nil:
		if l.Holds[row].Whole {
			text = "With all that is below it"
		} else {
			text = "Only the files in the folder itself; its folders have rows of their own"
		}
		text += ": " + checks.Plural(files, "file") + ", " + checks.Bytes(bytes) + "."
	case p.showsTorn():
		text = "Its files are in more than one box: " + what + "."
	default:
		text += ". " + p.plan.Left[row].Rule.Fix
	}
	p.why.Set(text, kit.ColMuted)
	kit.Relayout(p.root)
}

// shownWords say how the box that is shown is filled.
func (p *splitPage) shownWords(l *split.Load) string {
	switch {
	case l == nil && p.showsTorn():
		return "The files of these folders are in more than one box. Choose a row to see why."
	case l == nil:
		return "This goes into no box and stays on the source. Choose a row to see why, and what to do."
	case l.Files == 0:
		return fmt.Sprintf("Box %d is not needed.", p.shown+1)
	}
	text := fmt.Sprintf("Box %d: %s in %s, %s. In allocation units of %s that is %s, so %s would be left; %s should be.",
		p.shown+1, checks.Plural(l.Files, "file"), checks.Plural(l.Folders, "folder"), checks.Bytes(l.Bytes),
		checks.Plural(p.plan.Unit, "byte"), checks.Bytes(l.Need.Bytes), checks.Bytes(l.Size-l.Need.Bytes), checks.Bytes(l.Need.Margin()))
	if l.Inodes > 0 {
		text += fmt.Sprintf(" It has room for %s; %s of them would be taken.", checks.Plural(l.Inodes, "file or folder"), checks.Count(l.Need.Inodes))
	}
	if p.dir != "" {
		text += " Its list is " + names.Quote(p.lists[p.shown]) + "."
	}
	return text
}
