package gui

import (
	"context"
	"fmt"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/widget"

	"loadline/checks"
	"loadline/checks/fix"
	"loadline/checks/names"
)

// fixPage shows what renames would cure, what they would not, and applies and undoes them. Nothing
// on the source changes before the person has pressed Rename and said yes.
type fixPage struct {
	w      *Window
	root   *fyne.Container
	source string
	job    checks.Job     // for a report of its own
	report *checks.Report // that the plan is made from; nil until there is one
	wishes fix.Wishes
	plan   *fix.Plan // nil while it is being made, or where it could not be
	cancel context.CancelFunc
	busy   bool // renaming
	left   bool // shows what is left in place of what would be renamed
	skip   map[string]bool
	makes  map[string]bool // links to be replaced by a copy, cards to be archived

	past *fix.Journal // the last plan that was applied or begun

	table              *table
	back               *button
	foot               *surface
	count              *textLine
	tabRename, tabLeft *button
	portable           *button
	apply, undo, lists *button
	resume             *button

	old                      *paragraph
	why                      *paragraph
	name                     *field
	encodings                *widget.Select
	fault                    *paragraph
	keep, doSkip, doLink     *button
	doArchive, archive       *button
	stop                     *button
	edit, offers, meterPlace *fyne.Container
	meter                    *meter
	doing                    *textLine
	mute                     bool
}

var fixColumns = []tableColumn{
	{title: "Path now", mono: true, cut: cutMiddle},
	{title: "Afterwards", width: 300, mono: true, cut: cutMiddle},
	{title: "Why", cut: cutEnd},
}

func newFixPage(w *Window, job checks.Job, rep *checks.Report) *fixPage {
	p := &fixPage{w: w, source: job.Source, job: job, report: rep, skip: w.skips(job.Source), makes: map[string]bool{}}
	p.table = newTable(fixColumns, p.rows, p.cell)
	p.table.sorted = -1
	p.table.moved = p.choose
	p.table.enter = func(int) {
		if p.name.Visible() && !p.left {
			w.win.Canvas().Focus(p.name)
		}
	}
	p.count = newText("", sizeBody, colMuted).right()
	p.tabRename = newButton(toggle, "", "To rename", func() { p.turn(false) })
	p.tabLeft = newButton(toggle, "", "Left as they are", func() { p.turn(true) })
	p.tabRename.on = true
	p.portable = newButton(toggle, "", "Portable names", p.turnPortable)
	p.wishes.Portable = job.Portable
	p.portable.on = p.wishes.Portable
	p.apply = newButton(primary, "wrench", "Rename", p.ask)
	p.undo = newButton(plain, "history", "Undo", p.askUndo)
	p.resume = newButton(plain, "onward", "Go on", p.goOn)
	p.lists = newButton(quiet, "save", "Save lists", p.saveLists)
	p.old = newParagraph("", sizeBody, colText).mono()
	p.why = newParagraph("", sizeBody, colMuted)
	p.name = newField("New name")
	p.name.TextStyle = fyne.TextStyle{Monospace: true}
	p.name.shortcut = w.shortcut
	p.name.OnChanged = func(string) { p.edited() }
	p.name.OnSubmitted = func(string) { w.win.Canvas().Focus(p.table) }
	p.encodings = widget.NewSelect(nil, nil)
	p.fault = newParagraph("", sizeBody, colFail)
	p.keep = newButton(plain, "", "Keep the old name", p.keepOld)
	p.doSkip = newButton(toggle, "", "Skip it", p.skipIt)
	p.doLink = newButton(toggle, "", "Replace by a copy", p.replaceLink)
	p.doArchive = newButton(toggle, "", "Archive the card", p.archiveCard)
	p.archive = newButton(quiet, "copy", "Copy the command for it", p.copyArchive)
	p.stop = newButton(plain, "", "Stop", p.halt)
	p.meter = newMeter()
	p.doing = newText("", sizeBody, colText).ends()
	p.build()
	p.look()
	return p
}

func (p *fixPage) build() {
	p.back = newButton(plain, "back", "All checks", p.w.back)
	top := newStretch(14, 1, p.back, newText("Fix names", 20, colText).bold().ends(), p.count)
	intro := newParagraph("Nothing is changed before you have seen it and said yes. Every step is written to a journal first, and can be undone.", sizeBody, colMuted)
	tools := newStretch(8, 3, p.tabRename, p.tabLeft, p.portable, newText("", sizeBody, colText), p.lists, p.undo, p.resume, p.apply)
	p.edit = newColumn(6, container.New(&row{gap: 10, stretch: map[int]bool{0: true}}, p.name.calm(), p.encodings, p.keep), p.fault)
	p.offers = newRow(8, p.doSkip, p.doLink, p.doArchive, p.archive)
	p.meterPlace = newColumn(6, newSized(0, 10, p.meter), newStretch(10, 0, p.doing, p.stop))
	p.meterPlace.Hide()
	p.foot = newSurface(colSurface, colLine, newColumn(6, p.old, p.why, p.edit, p.offers, p.meterPlace)).pad(16, 12)
	list := newSurface(colSurface, colLine, p.table).pad(1, 1)
	p.root = container.New(&filesLayout{}, top, newColumn(10, intro, tools), list, p.foot)
}

// look makes the plan beside the window.
func (p *fixPage) look() {
	if p.cancel != nil {
		p.cancel()
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel = cancel
	p.plan = nil
	p.show("Reading the source. The plan changes nothing.")
	job, rep, wishes := p.job, p.report, p.wishes
	go func() {
		plan, rep, err := planNames(ctx, job, rep, wishes)
		past := lastJournal(p.source)
		p.w.desk.Post(func() {
			if ctx.Err() != nil {
				return
			}
			p.past, p.report = past, rep
			if err != nil {
				p.show("")
				p.why.set("No plan could be made: "+capital(err.Error())+".", colFail)
				p.relay()
				return
			}
			p.plan = plan
			for path := range p.skip {
				plan.Skip(path, true)
			}
			p.show("")
		})
	}()
}

// lastJournal is the latest plan that was applied or begun on a source; nil if there is none.
func lastJournal(source string) *fix.Journal {
	all, err := fix.Journals(source, "")
	if err != nil || len(all) == 0 {
		return nil
	}
	return all[len(all)-1]
}

// show writes what there is now. Doing, if not empty, says that it is being found out.
func (p *fixPage) show(doing string) {
	left := 0
	if p.plan != nil {
		left = len(p.plan.Left)
	}
	p.recount()
	p.tabLeft.set("", "Left as they are  "+checks.Count(int64(left)))
	p.tabRename.setOn(!p.left)
	p.tabLeft.setOn(p.left)
	p.count.set(doing, "")
	able(p.lists, p.plan != nil && !p.busy && (p.past == nil || !p.past.Unfinished())) // of names on their way no list holds
	visible(p.undo, p.past != nil && !p.busy)
	visible(p.resume, p.past != nil && p.past.State == fix.StateApplying && !p.busy)
	if p.past != nil {
		p.undo.set("history", "Undo "+work(p.past.Renames, p.past.Copies))
	}
	p.choose(p.table.chosen)
	if p.past != nil && p.past.Unfinished() && doing == "" && !p.busy {
		what := " stopped midway. Go on with it, or undo it, before you begin anew."
		if p.past.State == fix.StateUndoing {
			what = " is half undone. Undo it to the end before you begin anew."
		}
		p.why.set("The work of "+p.past.Started.Local().Format("2 January 2006, 15:04")+what, colFail)
		p.relay()
	}
}

func visible(o fyne.CanvasObject, on bool) {
	if on {
		o.Show()
	} else {
		o.Hide()
	}
}

func (p *fixPage) relay() {
	if p.root != nil && p.root.Size().Width > 0 {
		relay(p.root)
		p.foot.Refresh() // not the list: it asks its cells again by itself
	}
}

// turn shows the renames, or what is left.
func (p *fixPage) turn(left bool) {
	p.left = left
	p.table.choose(-1)
	p.table.top = 0
	p.show("")
}

// turnPortable makes the plan anew: with names of A–Z a–z 0–9 . _ - only, or without that wish.
func (p *fixPage) turnPortable() {
	if p.busy {
		return
	}
	p.wishes.Portable = !p.wishes.Portable
	p.portable.setOn(p.wishes.Portable)
	p.makes = map[string]bool{}
	p.look()
}

func (p *fixPage) rows() int {
	switch {
	case p.plan == nil:
		return 0
	case p.left:
		return len(p.plan.Left)
	}
	return len(p.plan.Steps)
}

func (p *fixPage) cell(row, col int) tableCell {
	if p.left {
		l := &p.plan.Left[row]
		switch col {
		case 0:
			return tableCell{text: names.Quote(l.Path)}
		case 1:
			switch {
			case p.makes[l.Path]:
				return tableCell{text: "replaced by a copy", color: colAccent}
			case l.Card != nil && p.makes[l.Card.Path]:
				return tableCell{text: "goes into " + names.Quote(l.Card.File), color: colAccent}
			case l.Card != nil && l.Card.Archived:
				return tableCell{text: "is in " + names.Quote(l.Card.File), color: colMuted}
			case p.skip[l.Path]:
				return tableCell{text: "on the skip list", color: colAccent}
			}
			return tableCell{text: "stays as it is", color: colMuted}
		}
		return tableCell{text: capital(l.Why), color: colMuted}
	}
	s := &p.plan.Steps[row]
	switch col {
	case 0:
		return tableCell{text: names.Quote(s.From)}
	case 1:
		if !s.Changes() {
			return tableCell{text: "keeps its name", color: colMuted}
		}
		return tableCell{text: names.Quote(s.Name()), color: colAccent}
	}
	return tableCell{text: capital(s.Why), color: colMuted}
}

// choose shows one row in full at the foot, with what can be done about it.
func (p *fixPage) choose(row int) {
	p.edit.Hide()
	p.offers.Hide()
	p.fault.set("", "")
	if p.plan == nil || row < 0 || row >= p.rows() {
		p.old.set("", "")
		text := "Choose a row to change the proposed name, or to leave it as it is."
		switch {
		case p.plan == nil:
			text = "The plan is being made."
		case p.left:
			text = "These are flagged, but a rename would not help or would do harm. Choose a row to see why, and what else can be done."
		case len(p.plan.Steps) == 0:
			text = "No name on the disk needs another one."
		}
		p.why.set(text, colMuted)
		p.relay()
		return
	}
	if p.left {
		p.chooseLeft(&p.plan.Left[row])
	} else {
		p.chooseStep(&p.plan.Steps[row])
	}
	p.relay()
}

func (p *fixPage) chooseStep(s *fix.Step) {
	p.old.set(names.Quote(s.From), "")
	why := capital(s.Why) + "."
	if s.Family != "" {
		why += " Files of the same name beside it get the new one too, so that they stay together."
	}
	p.why.set(why, colMuted)
	p.mute = true
	p.name.SetText(s.Name())
	p.mute = false
	able(p.keep, s.Changes())
	p.encodings.Hide()
	if len(s.Choices) > 1 {
		var words []string
		for _, c := range s.Choices {
			words = append(words, fmt.Sprintf("%v: %s", c.Encoding, names.Quote(c.Name)))
		}
		p.encodings.OnChanged = nil
		p.encodings.SetOptions(words)
		p.encodings.ClearSelected()
		p.encodings.PlaceHolder = "Read the bytes as…"
		p.encodings.OnChanged = func(string) {
			if i := p.encodings.SelectedIndex(); i >= 0 {
				p.name.SetText(s.Choices[i].Name)
			}
		}
		p.encodings.Show()
	}
	p.edit.Show()
}

// edited says at once whether a typed name holds, and takes it if it does.
func (p *fixPage) edited() {
	row := p.table.chosen
	if p.mute || p.plan == nil || p.left || row < 0 || row >= len(p.plan.Steps) || p.busy {
		return
	}
	if err := p.plan.Edit(row, p.name.Text); err != nil {
		p.fault.set("Not possible: "+strings.TrimPrefix(err.Error(), fix.ErrName.Error()+": ")+".", "")
		p.apply.Disable()
	} else {
		p.fault.set("", "")
		p.recount()
	}
	p.relay()
}

// recount writes the numbers again after one step has changed.
func (p *fixPage) recount() {
	n := p.renames()
	p.tabRename.set("", "To rename  "+checks.Count(int64(n)))
	p.apply.set("wrench", p.task(n))
	able(p.apply, n+len(p.makes) > 0 && !p.busy && (p.past == nil || !p.past.Unfinished()))
	able(p.keep, !p.left && p.plan != nil && p.table.chosen >= 0 && p.table.chosen < len(p.plan.Steps) && p.plan.Steps[p.table.chosen].Changes())
	p.table.renew()
}

// renames counts the names that would change.
func (p *fixPage) renames() (n int) {
	if p.plan != nil {
		for i := range p.plan.Steps {
			if p.plan.Steps[i].Changes() {
				n++
			}
		}
	}
	return n
}

// task says what the button does: all that was chosen.
func (p *fixPage) task(renames int) string {
	var parts []string
	if renames > 0 || len(p.makes) == 0 {
		parts = append(parts, "rename "+many(int64(renames), "name", "names"))
	}
	copies, cards := 0, 0
	if p.plan != nil {
		for _, m := range p.plan.Copies() {
			if m.Archive {
				cards++
			} else {
				copies++
			}
		}
	}
	if copies > 0 {
		parts = append(parts, "replace "+many(int64(copies), "link", "links"))
	}
	if cards > 0 {
		parts = append(parts, "archive "+many(int64(cards), "card", "cards"))
	}
	return capital(strings.Join(parts, ", "))
}

// work counts what was done, in words.
func work(renames, makings int) string {
	var parts []string
	if renames > 0 || makings == 0 {
		parts = append(parts, many(int64(renames), "rename", "renames"))
	}
	if makings > 0 {
		parts = append(parts, many(int64(makings), "copy", "copies"))
	}
	return strings.Join(parts, ", ")
}

func (p *fixPage) keepOld() {
	row := p.table.chosen
	if p.plan == nil || p.left || row < 0 || p.busy {
		return
	}
	if err := p.plan.Leave(row); err != nil {
		p.fault.set("Not possible: "+err.Error()+".", "")
		p.relay()
		return
	}
	p.recount()
	p.choose(row)
}

func (p *fixPage) leave() {
	if p.cancel != nil && !p.busy {
		p.cancel()
	}
}
