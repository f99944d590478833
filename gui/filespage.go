package gui

import (
	"path/filepath"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"

	"loadline/checks"
	"loadline/checks/names"
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
	wish   wish

	table  *table
	foot   *surface
	back   *button
	find   *field
	choice *widget.Select
	levels [3]*button
	counts [3]int64 // findings by level
	count  *textLine

	path, what, todo   *paragraph
	whole              string  // the chosen path
	room               float32 // for it, beside the buttons
	reveal, copy, list *button
	save, full         *button
	cancel             func()
}

var fileColumns = []tableColumn{
	{title: "How bad", width: 124, sortBy: true, cut: cutEnd},
	{title: "Path", mono: true, cut: cutMiddle, sortBy: true},
	{title: "Why", width: 150, share: 0.28, cut: cutEnd, sortBy: true}, // sorted by rule
	{title: "Size", width: 96, right: true, sortBy: true},
}

// columnKeys are what each column sorts by.
var columnKeys = []sortKey{byLevel, byPath, byRule, bySize}

// newFilesPage shows a report's findings; c narrows them to one check, nil does not.
func newFilesPage(w *Window, rep *checks.Report, c *checks.Check) *filesPage {
	p := &filesPage{w: w, report: rep, check: c, model: newFilesModel(rep, w.desk.Post)}
	p.wish = wish{check: -1, levels: [3]bool{true, true, true}, key: byLevel} // worst first
	for i := range rep.Checks {
		if c != nil && rep.Checks[i].ID == c.ID {
			p.wish.check = i
		}
	}
	p.table = newTable(fileColumns, p.model.rows, p.cell)
	p.table.sorted = 0
	p.table.head = p.sortBy
	p.table.moved = p.choose
	p.table.enter = func(int) { p.openFolder() }
	p.table.copy = func(int) { p.copyPath() }

	p.find = newField("Find in paths")
	p.find.shortcut = w.shortcut
	p.find.down = func() { w.win.Canvas().Focus(p.table) }
	p.find.OnChanged = func(s string) {
		p.wish.text = s
		p.later()
	}
	p.find.OnSubmitted = func(string) { w.win.Canvas().Focus(p.table) }
	p.choice = widget.NewSelect(p.ruleWords(), nil)
	p.choice.SetSelectedIndex(0)
	p.choice.OnChanged = func(string) {
		p.wish.rule = nil
		if i := p.choice.SelectedIndex(); i > 0 {
			p.wish.rule = p.rules[i-1]
		}
		p.now()
	}
	p.counts = p.levelCounts()
	for l := range p.levels {
		lk := lookOfLevel(checks.Level(l))
		b := newButton(toggle, lk.mark, checks.Count(p.counts[l]), nil)
		b.iconTint = lk.color
		b.on = true
		b.tap = func() {
			b.setOn(!b.on)
			p.wish.levels[l] = b.on
			p.now()
		}
		p.levels[l] = b
	}
	p.count = newText("", sizeBody, colMuted).right()
	p.path = newParagraph("", sizeBody, colText).mono()
	p.what = newParagraph("", sizeBody, colText)
	p.todo = newParagraph("", sizeBody, colMuted)
	p.reveal = newButton(plain, "folder", "Open folder", p.openFolder)
	p.copy = newButton(plain, "copy", "Copy path", p.copyPath)
	p.full = newButton(plain, "find", "Full name", p.showFull)
	p.list = newButton(quiet, "copy", "Copy list", p.copyAll)
	p.save = newButton(quiet, "save", "Save list", w.save)
	p.build()
	p.choose(-1)
	p.now()
	return p
}

func (p *filesPage) build() {
	title := "Flagged files"
	if p.check != nil {
		title = p.check.Title
	}
	p.back = newButton(plain, "back", "All checks", p.w.back)
	top := newStretch(14, 1, p.back, newText(title, 20, colText).bold().ends(), p.count)
	tools := container.New(&toolsLayout{p: p}, p.find.calm(), newSurface("", theme.ColorNameInputBorder, newSized(200, 34, p.choice)).round(7).pad(1, 1),
		newRow(6, p.levels[checks.Fail], p.levels[checks.Warn], p.levels[checks.Note]),
		newRow(2, p.list, p.save))
	text := newColumn(4, p.path, p.what, p.todo)
	p.foot = newSurface(colSurface, colLine, container.New(&footLayout{p: p}, text, newRow(8, p.full, p.copy, p.reveal))).pad(16, 12)
	list := newSurface(colSurface, colLine, p.table).pad(1, 1)
	p.root = container.New(&filesLayout{p}, top, tools, list, p.foot)
}

// ruleWords names the rules that the report has findings of.
func (p *filesPage) ruleWords() []string {
	words := []string{"All rules"}
	seen := map[*checks.Rule]bool{}
	for i := range p.report.Checks {
		r := &p.report.Checks[i]
		if p.check != nil && r.ID != p.check.ID {
			continue
		}
		for _, rule := range r.Check.Rules {
			if n := r.Rules[rule.ID]; n > 0 && !rule.Counted && !seen[rule] {
				seen[rule] = true
				p.rules = append(p.rules, rule)
				words = append(words, rule.ID+"  ("+checks.Count(n)+")")
			}
		}
	}
	return words
}

func (p *filesPage) levelCounts() [3]int64 {
	var n [3]int64
	for i := range p.report.Checks {
		r := &p.report.Checks[i]
		if p.check == nil || r.ID == p.check.ID {
			for l := range n {
				n[l] += int64(r.Levels[l])
			}
		}
	}
	return n
}

func (p *filesPage) cell(row, col int) tableCell {
	f := p.model.at(row)
	switch col {
	case 0:
		l := lookOfLevel(f.Level)
		return tableCell{text: levelWord(f.Level), mark: l.mark, color: l.color}
	case 1:
		if f.Path == "" {
			return tableCell{text: "(the whole job)", color: colMuted}
		}
		return tableCell{text: names.Quote(f.Path)}
	case 2:
		return tableCell{text: why(f), color: colMuted}
	}
	if f.Size == 0 {
		return tableCell{text: "—", color: colMuted}
	}
	return tableCell{text: checks.Bytes(f.Size)}
}

// why says in words what is wrong, with the number and its limit where there is one.
func why(f *checks.Finding) string {
	if f.Detail == "" {
		return capital(f.Rule.When)
	}
	return capital(oneLine(f.Detail))
}

// sortBy sorts by a column, and the other way round where it is sorted by it already.
func (p *filesPage) sortBy(col int) {
	if p.table.sorted == col {
		p.wish.descending = !p.wish.descending
	} else {
		p.wish.key, p.wish.descending = columnKeys[col], columnKeys[col] == bySize
		p.table.sorted = col
	}
	p.table.descending = p.wish.descending
	p.now()
}

// later filters once typing pauses.
func (p *filesPage) later() {
	if p.cancel != nil {
		p.cancel()
	}
	p.cancel = p.w.desk.After(filterAfter, func() { p.w.desk.Post(p.now) })
}

// now filters and sorts beside the window.
func (p *filesPage) now() {
	p.model.ask(p.wish, func(time.Duration) {
		p.table.choose(-1)
		p.table.top = 0
		p.table.renew()
		shown, all := int64(p.model.rows()), int64(p.total())
		if shown == all {
			p.count.set(many(all, "finding", "findings"), "")
		} else {
			p.count.set(checks.Count(shown)+" of "+checks.Count(all)+" findings", "")
		}
		switch {
		case all == 0:
			p.what.set("Nothing was flagged.", "")
		case shown == 0:
			p.what.set("Nothing matches. Change the text, the rule or the levels above.", "")
		}
		able(p.list, shown > 0)
		able(p.save, shown > 0)
		p.w.bar.update(p.w)
		p.relay()
	})
}

// choose shows one finding in full at the foot.
func (p *filesPage) choose(row int) {
	if row < 0 || row >= p.model.rows() {
		p.whole = ""
		p.shorten()
		p.what.set("Choose a row to see what is wrong with it and what to do.", "")
		p.todo.set("", "")
		for _, b := range []*button{p.reveal, p.copy, p.full} {
			b.Disable()
		}
		p.relay()
		return
	}
	f := p.model.at(row)
	path := names.Quote(f.Path)
	if f.Path == "" {
		path = "The whole job"
	}
	p.whole = path
	p.shorten()
	p.what.set(why(f)+". Rule: "+f.Rule.ID+".", "")
	p.todo.set("What to do: "+f.Fix(), "")
	for _, b := range []*button{p.reveal, p.copy, p.full} {
		able(b, f.Path != "")
	}
	p.relay()
}

// shorten shows the chosen path on two lines or so, whatever the room: the full name has its button.
func (p *filesPage) shorten() {
	path := p.whole
	if w := p.room; w > 0 {
		most := int(1.8 * w / measure("0", p.path.size, p.path.style).Width)
		if r := []rune(path); len(r) > most {
			path = cutRunes(r, most, cutMiddle)
		}
	}
	p.path.set(path, "")
}

func (p *filesPage) relay() {
	if p.root != nil && p.root.Size().Width > 0 {
		relay(p.root)
		p.foot.Refresh() // not the list: it asks its cells again by itself
	}
}

func (p *filesPage) chosen() *checks.Finding {
	if r := p.table.chosen; r >= 0 && r < p.model.rows() {
		return p.model.at(r)
	}
	return nil
}

// base is the folder that the findings' paths are relative to.
func (p *filesPage) base() string { return p.report.Source.Path }

func (p *filesPage) openFolder() {
	f := p.chosen()
	if f == nil || f.Path == "" {
		return
	}
	dir := filepath.Dir(filepath.Join(p.base(), filepath.FromSlash(f.Path)))
	if err := p.w.desk.Reveal(dir); err != nil {
		p.w.tell(checks.Failed, "No file manager could be opened: "+err.Error()+". The folder is "+names.Quote(dir))
	}
}

// copyPath copies the path as it is, raw bytes and all: what is pasted must find the file.
func (p *filesPage) copyPath() {
	if f := p.chosen(); f != nil && f.Path != "" {
		p.w.desk.Copy(filepath.Join(p.base(), filepath.FromSlash(f.Path)))
		p.w.tell(checks.Passed, "The path is on the clipboard.")
	}
}

// copyAll copies every row that is shown.
func (p *filesPage) copyAll() {
	var b strings.Builder
	if err := writeList(&b, p.model.rows(), p.model.at); err != nil {
		p.w.tell(checks.Failed, "The list could not be copied: "+err.Error())
		return
	}
	p.w.desk.Copy(b.String())
	p.w.tell(checks.Passed, many(int64(p.model.rows()), "line is", "lines are")+" on the clipboard.")
}

// showFull shows a name whole, however long, and its bytes.
func (p *filesPage) showFull() {
	f := p.chosen()
	if f == nil {
		return
	}
	s := &sheet{name: "name"}
	s.no = newButton(plain, "", "Close", func() { p.w.shut() })
	text := newParagraph(names.Quote(f.Path), sizeBody, colText).mono()
	inner := newPage(text)
	inner.layout.bare = true
	body := newColumn(gapMid,
		newParagraph("Full name", 18, colText).bold(),
		newParagraph(checks.Count(int64(len(f.Path)))+" bytes, path from the source on. Anything that does not print is written as an escape.", sizeBody, colMuted),
		newSized(0, 190, inner.scroll),
		newStretch(10, 0, newText("", sizeBody, colText), s.no))
	p.w.open(s, body, s.no)
	inner.reflow()
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

// findFiles goes to the filter, and opens all flagged files where they are not shown.
func (w *Window) findFiles() {
	if w.at != pageFiles {
		switch v := w.view(); {
		case w.running != "":
			w.tell(checks.Waiting, "A check still runs. What it finds can be looked at when it has ended.")
			return
		case v.report == nil:
			w.tell(checks.Waiting, "There are no findings yet to look at. Check first.")
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

func (w *Window) copyList() {
	if w.at == pageFiles {
		w.files.copyAll()
	}
}
