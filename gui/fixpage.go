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
	"loadline/checks/walk"
	"loadline/gui/kit"
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
	makes  map[string]bool // links to be replaced with a copy, cards to be archived

	past *fix.Journal // the last plan that was applied or begun

	table              *kit.Table
	back               *kit.Button
	foot               *kit.Surface
	count              *kit.Text
	tabRename, tabLeft *kit.Button
	portable           *kit.Button
	apply, undo, lists *kit.Button
	resume             *kit.Button

	unsure                   *kit.Paragraph // which names the plan cannot be sure of; hidden if there are none
	old                      *kit.Paragraph
	why                      *kit.Paragraph
	name                     *kit.Field
	encodings                *widget.Select
	fault                    *kit.Paragraph
	keep, doSkip, doLink     *kit.Button
	doArchive, archive       *kit.Button
	stop                     *kit.Button
	edit, offers, meterPlace *fyne.Container
	meter                    *kit.ProgressBar
	doing                    *kit.Text
	mute                     bool
}

var fixColumns = []kit.Column{
	{Title: "Path now", Mono: true, Cut: kit.CutMiddle},
	{Title: "Afterwards", Width: 300, Mono: true, Cut: kit.CutMiddle},
	{Title: "Why", Cut: kit.CutEnd},
}

func newFixPage(w *Window, job checks.Job, rep *checks.Report) *fixPage {
	p := &fixPage{w: w, source: job.Source, job: job, report: rep, skip: w.skips(job.Source), makes: map[string]bool{}}
	p.table = kit.NewTable(fixColumns, p.rows, p.cell)
	p.table.Sorted = -1
	p.table.OnChosen = p.choose
	p.table.OnEnter = func(int) {
		if p.name.Visible() && !p.left {
			w.win.Canvas().Focus(p.name)
		}
	}
	p.count = kit.NewText("", kit.SizeBody, kit.ColMuted).Right()
	p.tabRename = kit.NewButton(kit.Toggle, "", "To rename", func() { p.turn(false) })
	p.tabLeft = kit.NewButton(kit.Toggle, "", "Left unchanged", func() { p.turn(true) })
	p.tabRename.On = true
	p.portable = kit.NewButton(kit.Toggle, "", "Portable names", p.turnPortable)
	p.portable.On = p.wishes.Portable
	p.apply = kit.NewButton(kit.Primary, "wrench", "Rename", p.ask)
	p.undo = kit.NewButton(kit.Plain, "history", "Undo", p.askUndo)
	p.resume = kit.NewButton(kit.Plain, "onward", "Resume", p.goOn)
	p.lists = kit.NewButton(kit.Quiet, "save", "Save lists", p.saveLists)
	p.unsure = kit.NewParagraph("", kit.SizeBody, kit.ColWarn)
	p.unsure.Hide()
	p.old = kit.NewParagraph("", kit.SizeBody, kit.ColText).Mono()
	p.why = kit.NewParagraph("", kit.SizeBody, kit.ColMuted)
	p.name = kit.NewField("New name")
	p.name.TextStyle = fyne.TextStyle{Monospace: true}
	p.name.OnShortcut = w.shortcut
	p.name.OnChanged = func(string) { p.edited() }
	p.name.OnSubmitted = func(string) { w.win.Canvas().Focus(p.table) }
	p.encodings = widget.NewSelect(nil, nil)
	p.fault = kit.NewParagraph("", kit.SizeBody, kit.ColFail)
	p.keep = kit.NewButton(kit.Plain, "", "Keep the old name", p.keepOld)
	p.doSkip = kit.NewButton(kit.Toggle, "", "Skip it", p.skipIt)
	p.doLink = kit.NewButton(kit.Toggle, "", "Replace with a copy", p.replaceLink)
	p.doArchive = kit.NewButton(kit.Toggle, "", "Archive the card", p.archiveCard)
	p.archive = kit.NewButton(kit.Quiet, "copy", "Copy the command for it", p.copyArchive)
	p.stop = kit.NewButton(kit.Plain, "", "Stop", p.halt)
	p.meter = kit.NewProgressBar()
	p.doing = kit.NewText("", kit.SizeBody, kit.ColText).Truncated()
	p.build()
	p.makePlan()
	return p
}

func (p *fixPage) build() {
	p.back = kit.NewButton(kit.Plain, "back", "All checks", p.w.back)
	top := kit.NewStretch(14, 1, p.back, kit.NewText("Fix names", 20, kit.ColText).Bold().Truncated(), p.count)
	intro := kit.NewParagraph("Nothing is changed until you have seen and confirmed it. Every step is written to a journal first, and can be undone.", kit.SizeBody, kit.ColMuted)
	tools := kit.NewStretch(8, 3, p.tabRename, p.tabLeft, p.portable, kit.NewText("", kit.SizeBody, kit.ColText), p.lists, p.undo, p.resume, p.apply)
	p.edit = kit.NewColumn(6, kit.NewStretch(10, 0, p.name.Framed(), p.encodings, p.keep), p.fault)
	p.offers = kit.NewRow(8, p.doSkip, p.doLink, p.doArchive, p.archive)
	p.meterPlace = kit.NewColumn(6, kit.NewSized(0, 10, p.meter), kit.NewStretch(10, 0, p.doing, p.stop))
	p.meterPlace.Hide()
	p.foot = kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(6, p.old, p.why, p.edit, p.offers, p.meterPlace)).Pad(16, 12)
	list := kit.NewSurface(kit.ColSurface, kit.ColLine, p.table).Pad(1, 1)
	p.root = container.New(&filesLayout{}, top, kit.NewColumn(10, intro, p.unsure, tools), list, p.foot)
}

// makePlan makes the plan beside the window.
func (p *fixPage) makePlan() {
	if p.cancel != nil {
		p.cancel()
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel = cancel
	p.plan = nil
	p.show("Reading the source")
	job, rep, wishes := p.job, p.report, p.wishes
	var read walk.Progress
	stop := p.tellRead(ctx, &read)
	go func() {
		plan, rep, err := planNames(ctx, job, rep, wishes, &read)
		past := lastJournal(p.source)
		stop()
		p.w.desktop.Post(func() {
			if ctx.Err() != nil {
				return
			}
			p.past, p.report = past, rep
			if err != nil {
				p.show("")
				p.why.Set("No plan could be made: "+capitalize(err.Error())+".", kit.ColFail)
				kit.Relayout(p.root)
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

// untried is said of a share on which no trial was made yet.
const untried = "It is not known which names the share refuses, because it has not been tried yet: “Check before copying” does that."

// tellRead says how many entries a plan in the making has read, until stop is called.
func (p *fixPage) tellRead(ctx context.Context, read *walk.Progress) (stop func()) {
	ended := make(chan struct{})
	go pump(p.w.desktop.PostWait, numbersEvery, ended, func() bool { return read.Entries.Load() > 0 }, func(over bool) {
		if !over && p.plan == nil && ctx.Err() == nil {
			p.count.Set("Reading the source  ·  "+checks.Count(read.Entries.Load())+" entries", "")
		}
	})
	return func() { close(ended) }
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
	p.tabLeft.Set("", "Left unchanged  "+checks.Count(int64(left)))
	p.tabRename.SetOn(!p.left)
	p.tabLeft.SetOn(p.left)
	p.count.Set(doing, "")
	unsure := ""
	if p.plan != nil {
		unsure = p.plan.Unsure
		if unsure != "" && p.report != nil && p.report.Job.NoTrial { // the window's choice, as long as nobody has checked
			unsure = untried
		}
	}
	p.unsure.Say(checks.Plain(unsure))
	kit.SetEnabled(p.lists, p.plan != nil && !p.busy && (p.past == nil || !p.past.Unfinished())) // of names on their way no list holds
	kit.SetVisible(p.undo, p.past != nil && !p.busy)
	kit.SetVisible(p.resume, p.past != nil && p.past.State == fix.StateApplying && !p.busy)
	if p.past != nil {
		p.undo.Set("history", "Undo "+work(p.past.Renames, p.past.Copies))
	}
	p.choose(p.table.Chosen)
	if p.past != nil && p.past.Unfinished() && doing == "" && !p.busy {
		what := " stopped midway. Resume or undo it before you start another."
		if p.past.State == fix.StateUndoing {
			what = " is half undone. Finish undoing it before you start another."
		}
		p.why.Set("The work of "+p.past.Started.Local().Format("2 January 2006, 15:04")+what, kit.ColFail)
		kit.Relayout(p.root)
	}
}

// turn shows the renames, or what is left.
func (p *fixPage) turn(left bool) {
	p.left = left
	p.table.Choose(-1)
	p.table.Top = 0
	p.show("")
}

// turnPortable makes the plan anew: with names of A–Z a–z 0–9 . _ - only, or without that wish.
func (p *fixPage) turnPortable() {
	if p.busy {
		return
	}
	p.wishes.Portable = !p.wishes.Portable
	p.portable.SetOn(p.wishes.Portable)
	p.makes = map[string]bool{}
	p.makePlan()
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

func (p *fixPage) cell(row, col int) kit.Cell {
	if p.left {
		l := &p.plan.Left[row]
		switch col {
		case 0:
			return kit.Cell{Text: names.Quote(l.Path)}
		case 1:
			switch {
			case p.makes[l.Path]:
				return kit.Cell{Text: "replaced with a copy", Color: kit.ColAccent}
			case l.Card != nil && p.makes[l.Card.Path]:
				return kit.Cell{Text: "goes into " + names.Quote(l.Card.File), Color: kit.ColAccent}
			case l.Card != nil && l.Card.Archived:
				return kit.Cell{Text: "is in " + names.Quote(l.Card.File), Color: kit.ColMuted}
			case p.skip[l.Path]:
				return kit.Cell{Text: "on the skip list", Color: kit.ColAccent}
			}
			return kit.Cell{Text: "stays as it is", Color: kit.ColMuted}
		}
		return kit.Cell{Text: capitalize(l.Why), Color: kit.ColMuted}
	}
	s := &p.plan.Steps[row]
	switch col {
	case 0:
		return kit.Cell{Text: names.Quote(s.From)}
	case 1:
		if !s.Changes() {
			return kit.Cell{Text: "keeps its name", Color: kit.ColMuted}
		}
		return kit.Cell{Text: names.Quote(s.Name()), Color: kit.ColAccent}
	}
	return kit.Cell{Text: capitalize(s.Why), Color: kit.ColMuted}
}

// choose shows one row in full at the foot, with what can be done about it.
func (p *fixPage) choose(row int) {
	p.edit.Hide()
	p.offers.Hide()
	p.fault.Set("", "")
	if p.plan == nil || row < 0 || row >= p.rows() {
		p.old.Set("", "")
		text := "Choose a row to change the proposed name, or to leave it as it is."
		switch {
		case p.plan == nil:
			text = "The plan is being made."
		case p.left:
			text = "These are flagged, but a rename would not help or would do harm. Choose a row to see why, and what else can be done."
		case len(p.plan.Steps) == 0:
			text = "No name needs to change."
		}
		p.why.Set(text, kit.ColMuted)
		kit.Relayout(p.root)
		return
	}
	if p.left {
		p.chooseLeft(&p.plan.Left[row])
	} else {
		p.chooseStep(&p.plan.Steps[row])
	}
	kit.Relayout(p.root)
}

func (p *fixPage) chooseStep(s *fix.Step) {
	p.old.Set(names.Quote(s.From), "")
	why := capitalize(s.Why) + "."
	if s.Family != "" {
		why += " Files of the same name beside it get the new one too, so that they stay together."
	}
	p.why.Set(why, kit.ColMuted)
	p.mute = true
	p.name.SetText(s.Name())
	p.mute = false
	kit.SetEnabled(p.keep, s.Changes())
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

// chooseLeft shows what stays as it is, and what else can be done about it.
func (p *fixPage) chooseLeft(l *fix.Left) {
	p.old.Set(names.Quote(l.Path), "")
	why := capitalize(l.Why) + "."
	if l.Fix != "" {
		why += " " + l.Fix
	}
	p.why.Set(why, kit.ColMuted)
	for _, b := range []*kit.Button{p.doSkip, p.doLink, p.doArchive, p.archive} {
		b.Hide()
	}
	for _, o := range l.Offers {
		switch o {
		case fix.OfferSkip:
			p.doSkip.SetOn(p.skip[l.Path])
			p.doSkip.Show()
		case fix.OfferReplace:
			p.doLink.SetOn(p.makes[l.Path])
			p.doLink.Show()
		case fix.OfferArchive:
			p.doArchive.SetOn(p.makes[l.Card.Path])
			p.doArchive.Show()
			p.archive.Show()
		}
	}
	p.offers.Show()
}

func (p *fixPage) chosenLeft() *fix.Left {
	if r := p.table.Chosen; p.plan != nil && p.left && r >= 0 && r < len(p.plan.Left) {
		return &p.plan.Left[r]
	}
	return nil
}

func (p *fixPage) skipIt() {
	if l := p.chosenLeft(); l != nil && !p.busy {
		on := !p.skip[l.Path]
		set(p.skip, l.Path, on)
		p.plan.Skip(l.Path, on)
		p.doSkip.SetOn(on)
		p.table.Renew()
	}
}

// set puts a path into a set, or takes it out.
func set(of map[string]bool, path string, on bool) {
	if on {
		of[path] = true
	} else {
		delete(of, path)
	}
}

func (p *fixPage) replaceLink() {
	if l := p.chosenLeft(); l != nil && !p.busy {
		p.make(p.doLink, l.Path, p.plan.Replace)
	}
}

func (p *fixPage) archiveCard() {
	if l := p.chosenLeft(); l != nil && l.Card != nil && !p.busy {
		p.make(p.doArchive, l.Card.Path, p.plan.Archive)
	}
}

// make puts a copy or an archive into the plan, or takes it out.
func (p *fixPage) make(b *kit.Button, path string, plan func(string, bool) error) {
	on := !p.makes[path]
	if err := plan(path, on); err != nil {
		p.w.tell(checks.Warned, capitalize(err.Error())+".")
		return
	}
	set(p.makes, path, on)
	b.SetOn(on)
	p.recount()
}

func (p *fixPage) copyArchive() {
	if l := p.chosenLeft(); l != nil && l.Card != nil {
		p.w.desktop.Copy(l.Card.Command())
		p.w.tellWhile(p.w.onThisPage(), checks.Passed, "The command is on the clipboard, in case you want the archive elsewhere. Run it in the source folder: it puts the whole card into one file and leaves the card as it is.")
	}
}

// edited says at once whether a typed name holds, and takes it if it does.
func (p *fixPage) edited() {
	row := p.table.Chosen
	if p.mute || p.plan == nil || p.left || row < 0 || row >= len(p.plan.Steps) || p.busy {
		return
	}
	if err := p.plan.Edit(row, p.name.Text); err != nil {
		p.fault.Set("Not possible: "+strings.TrimPrefix(err.Error(), fix.ErrName.Error()+": ")+".", "")
		p.apply.Disable()
	} else {
		p.fault.Set("", "")
		p.recount()
	}
	kit.Relayout(p.root)
}

// recount writes the numbers again after one step has changed.
func (p *fixPage) recount() {
	n := p.renames()
	p.tabRename.Set("", "To rename  "+checks.Count(int64(n)))
	p.apply.Set("wrench", p.task(n))
	kit.SetEnabled(p.apply, n+len(p.makes) > 0 && !p.busy && (p.past == nil || !p.past.Unfinished()))
	kit.SetEnabled(p.keep, !p.left && p.plan != nil && p.table.Chosen >= 0 && p.table.Chosen < len(p.plan.Steps) && p.plan.Steps[p.table.Chosen].Changes())
	p.table.Renew()
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
		parts = append(parts, "rename "+checks.Plural(int64(renames), "name"))
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
		parts = append(parts, "replace "+checks.Plural(int64(copies), "link"))
	}
	if cards > 0 {
		parts = append(parts, "archive "+checks.Plural(int64(cards), "card"))
	}
	return capitalize(strings.Join(parts, ", "))
}

// work counts what was done, in words.
func work(renames, makings int) string {
	var parts []string
	if renames > 0 || makings == 0 {
		parts = append(parts, checks.Plural(int64(renames), "rename"))
	}
	if makings > 0 {
		parts = append(parts, checks.Plural(int64(makings), "copy"))
	}
	return strings.Join(parts, ", ")
}

func (p *fixPage) keepOld() {
	row := p.table.Chosen
	if p.plan == nil || p.left || row < 0 || p.busy {
		return
	}
	if err := p.plan.Leave(row); err != nil {
		p.fault.Set("Not possible: "+err.Error()+".", "")
		kit.Relayout(p.root)
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
