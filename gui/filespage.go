package gui

import (
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/kit"
)

// filterAfter is how long the text of the filter must stand still.
const filterAfter = 120 * time.Millisecond

// filesPage shows flagged files: all of a report, or those of one check.
type filesPage struct {
	w      *Window
	root   *fyne.Container
	model  *filesModel
	report *checks.Report
	check  *checks.Check
	rules  []*checks.Rule // in the order of the choice; the first place means all
	query  query

	table  *kit.Table
	foot   *kit.Surface
	back   *kit.Button
	find   *kit.Field
	choice *widget.Select
	levels [3]*kit.Button
	counts [3]int64 // findings by level
	count  *kit.Text

	path, what, todo   *kit.Paragraph
	reveal, copy, list *kit.Button
	save, full         *kit.Button
	cancel             func()
}

var fileColumns = []kit.Column{
	{Title: "How bad", Width: 124, Sortable: true, Cut: kit.CutEnd},
	{Title: "Path", Mono: true, Cut: kit.CutMiddle, Sortable: true},
	{Title: "Why", Width: 150, Share: 0.28, Cut: kit.CutEnd, Sortable: true}, // sorted by rule
	{Title: "Size", Width: 96, Right: true, Sortable: true},
}

// columnKeys are what each column sorts by.
var columnKeys = []sortKey{byLevel, byPath, byRule, bySize}

// newFilesPage shows a report's findings; c narrows them to one check, nil does not.
func newFilesPage(w *Window, rep *checks.Report, c *checks.Check) *filesPage {
	p := &filesPage{w: w, report: rep, check: c, model: newFilesModel(rep, c, w.desktop.Post)}
	p.query = query{levels: [3]bool{true, true, true}, key: byLevel} // worst first
	p.table = kit.NewTable(fileColumns, p.model.rows, p.cell)
	p.table.Sorted = 0
	p.table.OnSort = p.sortBy
	p.table.OnChosen = p.choose
	p.table.OnEnter = func(int) { p.openFolder() }
	p.table.OnCopy = func(int) { p.copyPath() }

	p.find = kit.NewField("Find in paths")
	p.find.OnShortcut = w.shortcut
	p.find.OnDown = func() { w.win.Canvas().Focus(p.table) }
	p.find.OnChanged = func(s string) {
		p.query.text = s
		p.later()
	}
	p.find.OnSubmitted = func(string) { w.win.Canvas().Focus(p.table) }
	p.choice = widget.NewSelect(p.ruleWords(), nil)
	p.choice.SetSelectedIndex(0)
	p.choice.OnChanged = func(string) {
		p.query.rule = nil
		if i := p.choice.SelectedIndex(); i > 0 {
			p.query.rule = p.rules[i-1]
		}
		p.now()
	}
	p.counts = p.levelCounts()
	for l := range p.levels {
		lk := levelBadge(checks.Level(l))
		n := checks.Count(p.counts[l])
		b := kit.NewButton(kit.Toggle, lk.Mark, levelWord(checks.Level(l))+"  "+n, nil).Shorter(n)
		b.IconColor = lk.Color
		b.On = true
		b.OnTapped = func() {
			b.SetOn(!b.On)
			p.query.levels[l] = b.On
			p.now()
		}
		p.levels[l] = b
	}
	p.count = kit.NewText("", kit.SizeBody, kit.ColMuted).Right()
	p.path = kit.NewParagraph("", kit.SizeBody, kit.ColText).Mono().AtMost(2) // the full name has its button
	p.what = kit.NewParagraph("", kit.SizeBody, kit.ColText)
	p.todo = kit.NewParagraph("", kit.SizeBody, kit.ColMuted)
	p.reveal = kit.NewButton(kit.Plain, "folder", "Open folder", p.openFolder).Shorter("Open")
	p.copy = kit.NewButton(kit.Plain, "copy", "Copy path", p.copyPath).Shorter("Copy")
	p.full = kit.NewButton(kit.Plain, "find", "Full name", p.showFull).Shorter("Name")
	p.list = kit.NewButton(kit.Quiet, "copy", "Copy list", p.copyAll)
	p.save = kit.NewButton(kit.Quiet, "save", "Save list", w.save)
	p.build()
	p.choose(-1)
	p.list.Disable() // until there are rows
	p.save.Disable()
	p.count.Set("Sorting "+checks.Plural(int64(p.total()), "finding"), "")
	p.now()
	return p
}

func (p *filesPage) build() {
	title := "Flagged files"
	if p.check != nil {
		title = p.check.Title
	}
	p.back = kit.NewButton(kit.Plain, "back", "All checks", p.w.back)
	top := kit.NewStretch(14, 1, p.back, kit.NewText(title, 20, kit.ColText).Bold().Truncated(), p.count)
	tools := kit.Arrange(arrangeTools, kit.AtLeast(500, toolsHigh), p.find.Framed(), kit.NewSurface("", theme.ColorNameInputBorder, kit.NewSized(200, 34, p.choice)).Round(7).Pad(1, 1),
		kit.NewRow(6, p.levels[checks.Fail], p.levels[checks.Warn], p.levels[checks.Note]),
		kit.NewRow(2, p.list, p.save))
	below := &foot{narrow: footNarrow}
	p.foot = kit.NewSurface(kit.ColSurface, kit.ColLine, below.box(p.path, p.what, p.todo, kit.NewRow(8, p.full, p.copy, p.reveal))).Pad(16, 12)
	list := kit.NewSurface(kit.ColSurface, kit.ColLine, p.table).Pad(1, 1)
	p.root = container.New(&filesLayout{below}, top, tools, list, p.foot)
}

// ruleWords names the rules that the report has findings of.
func (p *filesPage) ruleWords() []string {
	words := []string{"All rules"}
	for _, r := range p.model.results {
		for _, rule := range r.Check.Rules {
			if n := r.Rules[rule.ID]; n > 0 && !rule.Counted && !slices.Contains(p.rules, rule) {
				p.rules = append(p.rules, rule)
				words = append(words, rule.ID+"  ("+checks.Count(n)+")")
			}
		}
	}
	return words
}

func (p *filesPage) levelCounts() (n [3]int64) {
	for _, r := range p.model.results {
		for l := range n {
			n[l] += int64(r.Levels[l])
		}
	}
	return n
}

func (p *filesPage) cell(row, col int) kit.Cell {
	f := p.model.at(row)
	switch col {
	case 0:
		l := levelBadge(f.Level)
		return kit.Cell{Text: levelWord(f.Level), Mark: l.Mark, Color: l.Color}
	case 1:
		if f.Path == "" {
			return kit.Cell{Text: "(the copy as a whole)", Color: kit.ColMuted}
		}
		return kit.Cell{Text: onDisk(p.report, f.Source, f.Path)}
	case 2:
		return kit.Cell{Text: why(f), Color: kit.ColMuted}
	}
	if f.Size == 0 {
		return kit.Cell{Text: "—", Color: kit.ColMuted}
	}
	return kit.Cell{Text: checks.Bytes(f.Size)}
}

// why says in words what is wrong, with the number and its limit where there is one.
func why(f *checks.Finding) string {
	if f.Detail == "" {
		return capitalize(f.Rule.When)
	}
	return capitalize(oneLine(f.Detail))
}

// sortBy sorts by a column, and the other way round where it is sorted by it already.
func (p *filesPage) sortBy(col int) {
	if p.table.Sorted == col {
		p.query.descending = !p.query.descending
	} else {
		p.query.key, p.query.descending = columnKeys[col], columnKeys[col] == bySize
		p.table.Sorted = col
	}
	p.table.Descending = p.query.descending
	p.now()
}

// later filters once typing pauses.
func (p *filesPage) later() {
	if p.cancel != nil {
		p.cancel()
	}
	p.cancel = p.w.desktop.After(filterAfter, func() { p.w.desktop.Post(p.now) })
}

// now filters and sorts beside the window.
func (p *filesPage) now() {
	p.model.ask(p.query, func() {
		p.table.Choose(-1)
		p.table.Top = 0
		p.table.Renew()
		shown, all := int64(p.model.rows()), int64(p.total())
		if shown == all {
			p.count.Set(checks.Plural(all, "finding"), "")
		} else {
			p.count.Set(checks.Count(shown)+" of "+checks.Count(all)+" findings", "")
		}
		switch {
		case all == 0:
			p.what.Set("Nothing was flagged.", "")
		case shown == 0:
			p.what.Set("Nothing matches. Change the text, the rule or the levels above.", "")
		}
		kit.SetEnabled(p.list, shown > 0)
		kit.SetEnabled(p.save, shown > 0)
		p.w.changed()
		kit.Relayout(p.root)
	})
}

// choose shows one finding in full at the foot.
func (p *filesPage) choose(row int) {
	if row < 0 || row >= p.model.rows() {
		p.path.Set("", "")
		p.what.Set("Choose a row to see what is wrong with it and what to do.", "")
		p.todo.Set("", "")
		for _, b := range []*kit.Button{p.reveal, p.copy, p.full} {
			b.Disable()
		}
		kit.Relayout(p.root)
		return
	}
	f := p.model.at(row)
	path := onDisk(p.report, f.Source, f.Path)
	if f.Path == "" {
		path = "The copy as a whole"
	}
	p.path.Set(path, "")
	p.what.Set(why(f)+". Rule: "+f.Rule.ID+".", "")
	p.todo.Set("What to do: "+f.Fix(), "")
	for _, b := range []*kit.Button{p.reveal, p.copy, p.full} {
		kit.SetEnabled(b, f.Path != "")
	}
	kit.Relayout(p.root)
}

func (p *filesPage) chosen() *checks.Finding {
	if r := p.table.Chosen; r >= 0 && r < p.model.rows() {
		return p.model.at(r)
	}
	return nil
}

func (p *filesPage) openFolder() {
	f := p.chosen()
	if f == nil || f.Path == "" {
		return
	}
	p.w.reveal(filepath.Dir(filepath.Join(folderOf(p.report, f), filepath.FromSlash(f.Path))))
}

// copyPath copies the path as it is, raw bytes and all: what is pasted must find the file.
func (p *filesPage) copyPath() {
	if f := p.chosen(); f != nil && f.Path != "" {
		p.w.desktop.Copy(filepath.Join(folderOf(p.report, f), filepath.FromSlash(f.Path)))
		p.w.tellWhile(p.w.onThisPage(), checks.Passed, "The path is on the clipboard.")
	}
}

// copyAll copies every row that is shown.
func (p *filesPage) copyAll() {
	n, at := p.model.shown()
	go func() { // a million lines take a moment
		var size counter // or it would be copied again and again as it grows
		err := writeList(&size, p.report, n, at)
		var b strings.Builder
		b.Grow(int(size))
		if err == nil {
			err = writeList(&b, p.report, n, at)
		}
		p.w.desktop.Post(func() { p.copied(b.String(), n, err) })
	}()
}

// counter is a writer that only counts bytes.
type counter int64

func (c *counter) Write(b []byte) (int, error) {
	*c += counter(len(b))
	return len(b), nil
}

func (p *filesPage) copied(list string, n int, err error) {
	if err != nil {
		p.w.tell(checks.Failed, "The list could not be copied: "+err.Error())
		return
	}
	p.w.desktop.Copy(list)
	p.w.tellWhile(p.w.onThisPage(), checks.Passed, checks.Many(int64(n), "line is", "lines are")+" on the clipboard.")
}

// showFull shows a name whole, however long, and its bytes.
func (p *filesPage) showFull() {
	f := p.chosen()
	if f == nil {
		return
	}
	name := kit.NewParagraph(names.Quote(f.Path), kit.SizeBody, kit.ColText).Mono()
	p.w.open(&kit.Sheet{Name: "name"}, "Full name", nil,
		kit.NewParagraph(checks.Count(int64(len(f.Path)))+" bytes, path from the source on. Anything that does not print is written as an escape.", kit.SizeBody, kit.ColMuted),
		kit.NewSized(0, 190, kit.NewBarePage(name)))
}

// leave is called when another page is shown.
func (p *filesPage) leave() {
	if p.cancel != nil {
		p.cancel()
	}
	p.model.newest.Add(1) // a filter that still runs is for nobody
}

// showFiles opens the page: of one check, or of all.
func (w *Window) showFiles(c *checks.Check) {
	v := w.view()
	if v.report == nil || w.running != "" {
		return
	}
	w.files = newFilesPage(w, v.report, c)
	w.show(pageFiles)
	w.win.Canvas().Focus(w.files.table)
}

// showEqual shows the files that have the same content as another: a list to save.
func (w *Window) showEqual() {
	k := w.view().list.byID[checkReads]
	if k == nil {
		return
	}
	if w.showFiles(k.check); w.at == pageFiles {
		p := w.files
		p.choice.SetSelectedIndex(1 + slices.IndexFunc(p.rules, func(r *checks.Rule) bool { return r.ID == ruleSameContent }))
	}
}

// findFiles goes to the filter, and opens all flagged files where they are not shown.
func (w *Window) findFiles() {
	if w.at != pageFiles {
		switch v := w.view(); {
		case w.running != "":
			w.tellWhile(w.whileRunning(), checks.Waiting, "A check is still running. You can see what it found when it has finished.")
			return
		case v.report == nil:
			w.tellWhile(w.withoutReport(), checks.Waiting, "No findings yet. Check first.")
			return
		}
		w.showFiles(nil)
	}
	if w.at == pageFiles {
		w.win.Canvas().Focus(w.files.find)
	}
}

func (w *Window) copyPath() {
	if w.at == pageFiles && w.sheet == nil {
		w.files.copyPath()
	}
}

func (w *Window) copyCommand(command string) {
	w.desktop.Copy(command)
	w.tellWhile(w.onThisPage(), checks.Passed, "The command is on the clipboard. Loadline runs none: read it, then paste it into a terminal.")
}

func (w *Window) copyList() {
	if w.at == pageFiles {
		w.files.copyAll()
	}
}
