package gui

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/split"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// checkSpace is the check that says whether the copy fits.
const checkSpace = "free-space"

// splitPage deals a disk out to several boxes and writes a copy list for each. It only reads the disk.
type splitPage struct {
	w      *Window
	root   *kit.Page
	source string
	list   string // file of the copy list that it follows; empty: the whole disk
	unit   int64  // bytes that a box allocates at a time, as measured on the share; 0 where unknown
	expect int64
	boxes  []*boxField
	each   *boxField   // how many files and folders each box takes; empty: not counted
	plan   *split.Plan // nil until there is one for the sizes that stand in the fields
	shown  int         // which of the choices: a box, then what is torn, then what is left
	dir    string      // where the lists are; empty while they are not written
	lists  []string    // file of each box there; empty for a box that is not needed
	nul    bool        // paths in them are ended by NUL
	task   *runner     // what goes on beside the window; nil while nothing does
	deal   func(context.Context, checks.Job, split.Options, func(checks.Event)) (*split.Plan, error)

	back                      *kit.Button
	intro                     *kit.Paragraph
	sizes, inset              *fyne.Container
	add, divide, stop, save   *kit.Button
	problem                   *kit.Paragraph
	meterPlace                *fyne.Container
	meter                     *kit.ProgressBar
	numbers                   *kit.Text
	mark                      *kit.Mark
	answer                    *kit.Paragraph
	how, result, verdictPlace fyne.CanvasObject
	fields, side              *kit.Page
	choices                   []*kit.Choice
	picks                     *fyne.Container
	tables                    [2]*kit.Table // of what is in a box, and of what is not
	table                     *kit.Table    // the one that is shown
	path, why                 *kit.Paragraph
	use, open                 *kit.Button
}

// boxField is where the size of one box is typed, or what holds for each of them.
type boxField struct {
	cell    *fyne.Container
	caption *kit.Text
	size    *kit.Field
	remove  *kit.Button // nil where it cannot go
	fault   *kit.Text
}

// splitColumns are those of what is in a box, and of what is not.
var splitColumns = [2][]kit.Column{{
	{Title: "Path", Mono: true, Cut: kit.CutMiddle},
	{Title: "What", Width: 182, Cut: kit.CutEnd},
	{Title: "Files", Width: 76, Right: true},
	{Title: "Size", Width: 88, Right: true},
}, {
	{Title: "Path", Mono: true, Cut: kit.CutMiddle},
	{Title: "Why", Width: 182, Share: 0.46, Cut: kit.CutEnd},
	{Title: "Files", Width: 70, Right: true},
	{Title: "Size", Width: 84, Right: true},
}}

func newSplitPage(w *Window, source, list string, sizes boxSizes) *splitPage {
	p := &splitPage{w: w, source: source, list: list, deal: split.Make}
	p.back = kit.NewButton(kit.Plain, "back", "All checks", w.back)
	p.intro = kit.NewParagraph("", kit.SizeBody, kit.ColMuted)
	p.sizes = kit.NewFlow(12)
	p.inset = kit.NewInset(0, 2, p.sizes) // or the edge of the page would cut that of the fields
	p.fields = kit.NewBarePage(p.inset)
	p.add = kit.NewButton(kit.Plain, "", "Add a box", func() {
		b := p.insert(p.boxes[len(p.boxes)-1].size.Text) // most are alike
		p.stale()
		w.win.Canvas().Focus(b.size)
		p.fields.Bring(b.cell)
	})
	p.divide = kit.NewButton(kit.Primary, "boxes", "Divide", p.start)
	p.save = kit.NewButton(kit.Primary, "save", "Save lists", p.saveLists)
	p.stop = kit.NewButton(kit.Plain, "stop", "Stop", p.halt)
	p.problem = kit.NewParagraph("", kit.SizeBody, kit.ColFail)
	p.meter, p.numbers = kit.NewProgressBar(), kit.NewText("", kit.SizeBody, kit.ColText).Truncated()
	p.mark, p.answer = kit.NewMark("pass", kit.ColPass, 18), kit.NewParagraph("", kit.SizeTitle, kit.ColText).Bold()
	p.picks = kit.NewColumn(2)
	p.side = kit.NewBarePage(besideBar(p.picks))
	for i := range p.tables {
		t := kit.NewTable(splitColumns[i], p.rows, p.cell)
		t.Sorted = -1
		t.OnChosen = func(row int) {
			if t == p.table {
				p.choose(row)
			}
		}
		p.tables[i] = t
	}
	p.table = p.tables[0]
	p.tables[1].Hide()
	p.path = kit.NewParagraph("", kit.SizeBody, kit.ColText).Mono().AtMost(2)
	p.why = kit.NewParagraph("", kit.SizeBody, kit.ColMuted)
	p.use = kit.NewButton(kit.Plain, "document", "Use its list for the checks", p.useList).Shorter("Use its list")
	p.open = kit.NewButton(kit.Plain, "folder", "Open folder", func() { w.reveal(p.dir) }).Shorter("Open")
	p.each = p.newField(sizes.Each, "not counted")
	p.each.caption.Set("Files and folders per box", "")
	p.each.cell = kit.NewColumn(3, kit.NewSized(eachWide, 34, kit.NewStretch(6, 1, p.each.caption, p.each.size.Framed())), p.each.fault)
	for _, s := range sizes.Boxes {
		p.insert(s)
	}
	p.build()
	p.show()
	return p
}

func (p *splitPage) build() {
	top := kit.NewStretch(14, 1, p.back, kit.NewText("More than one box", 20, kit.ColText).Bold().Truncated())
	p.meterPlace = kit.NewColumn(4, kit.NewSized(0, 10, p.meter), kit.NewSized(0, 20, p.numbers))
	p.meterPlace.Hide()
	verdict := kit.NewHanging(28, kit.NewSized(18, 20, p.mark), p.answer)
	p.verdictPlace = verdict
	tools := kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(10,
		p.intro,
		kit.Arrange(p.arrangeBoxes, func(o []fyne.CanvasObject) fyne.Size { return fyne.NewSize(500, o[1].MinSize().Height) },
			p.fields, kit.NewRow(8, p.save, p.divide, p.stop)),
		p.problem, p.meterPlace, verdict)).Pad(splitPad, 12)
	doc := split.List()[0]
	how := kit.NewColumn(kit.GapMid,
		section("How it is divided", doc.Doc),
		section("Room to spare", "In every box 2 % of what goes into it is left free, or as much as its largest file takes if that is more, as “The copy fits on the share” asks for. Some file systems also hold only so many files and folders: say how many, and they are counted too."),
		section("Two copies", "A box that takes all of it needs no list: for two full copies on two boxes, check before and after copying with the share of one box, then with that of the other."),
		section("What you get", "A copy list for each box, to be given to a copy command that reads lists, and to the checks before and after copying. Boxes that are not needed get none. What fits nowhere is named."))
	p.how = kit.NewSurface(kit.ColSurface, kit.ColLine, how).Pad(splitPad, splitPad)
	list := kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewStack(p.tables[0], p.tables[1])).Pad(1, 1)
	side := kit.NewSurface(kit.ColSurface, kit.ColLine, p.side).Pad(6, 6)
	foot := kit.NewSurface(kit.ColSurface, kit.ColLine, (&foot{narrow: footNarrow + 160}).box(p.path, p.why, kit.NewRow(8, p.use, p.open))).Pad(splitPad, 10)
	result := container.New(splitResult{}, side, list, foot)
	p.result = result
	p.root = kit.NewBarePage(kit.Arrange(p.arrange, kit.AtLeast(600, 300), top, tools, p.how, result))
}

// insert adds a field for one more box.
func (p *splitPage) insert(size string) *boxField {
	b := p.newField(size, "like 8 TB")
	b.remove = kit.NewButton(kit.Quiet, "remove", "", func() { p.drop(b) })
	b.cell = kit.NewColumn(3, kit.NewSized(boxWide, 34, kit.NewStretch(6, 1, b.caption, b.size.Framed(), b.remove)), b.fault)
	p.boxes = append(p.boxes, b)
	p.number()
	return b
}

func (p *splitPage) newField(text, hint string) *boxField {
	b := &boxField{
		caption: kit.NewText("", kit.SizeBody, kit.ColText),
		size:    kit.NewField(hint),
		fault:   kit.NewText("", kit.SizeSmall+1, kit.ColFail),
	}
	b.fault.Hide()
	b.size.SetText(text)
	b.size.ToEnd()
	b.size.OnShortcut = p.w.shortcut
	b.size.OnSubmitted = func(string) { p.start() }
	b.size.OnChanged = func(string) {
		b.complain("")
		p.stale()
	}
	return b
}

const (
	boxWide  = 190 // of the field of a box, with its name and its button
	eachWide = 310 // of the field for what holds for each box, with its name
)

func (p *splitPage) drop(b *boxField) {
	i := slices.Index(p.boxes, b)
	if i < 0 || len(p.boxes) < 2 {
		return
	}
	p.boxes = slices.Delete(p.boxes, i, i+1)
	p.number()
	p.stale()
	p.w.win.Canvas().Focus(p.boxes[max(i-1, 0)].size)
}

// number shows the fields in their order. The last one cannot go.
func (p *splitPage) number() {
	p.sizes.Objects = nil
	for i, b := range p.boxes {
		b.caption.Set(fmt.Sprintf("Box %d", i+1), "")
		kit.SetEnabled(b.remove, len(p.boxes) > 1 && p.task == nil)
		p.sizes.Objects = append(p.sizes.Objects, b.cell)
	}
	p.sizes.Objects = append(p.sizes.Objects, p.add, p.each.cell)
	p.sizes.Refresh()
}

func (b *boxField) complain(problem string) {
	b.fault.Set(problem, "")
	kit.SetVisible(b.fault, problem != "")
}

// stale puts a plan away that is of other boxes than those in the fields.
func (p *splitPage) stale() {
	p.plan, p.dir, p.lists = nil, "", nil
	p.problem.Set("", "")
	p.show()
}

// boxSizes are what each box takes, as it was typed.
type boxSizes struct {
	Boxes []string `json:"boxes,omitempty"`
	Each  string   `json:"box_entries,omitempty"` // files and folders; empty: not counted
}

func (s boxSizes) empty() bool { return strings.Join(s.Boxes, "") == "" }

// typed is what stands in the fields, to be kept.
func (p *splitPage) typed() boxSizes {
	s := boxSizes{Each: strings.TrimSpace(p.each.size.Text)}
	for _, b := range p.boxes {
		s.Boxes = append(s.Boxes, strings.TrimSpace(b.size.Text))
	}
	return s
}

// read reads the fields; where one is wrong that is said below it, and it gets the keyboard.
func (p *splitPage) read() ([]split.Box, bool) {
	var boxes []split.Box
	var wrong *boxField
	check := func(b *boxField, err error) {
		b.complain("")
		if err != nil {
			b.complain(capitalize(err.Error()))
			wrong = cmp.Or(wrong, b)
		}
	}
	entries, errEach := input.Entries(p.each.size.Text)
	for _, b := range p.boxes {
		n, err := input.Size(b.size.Text)
		check(b, err)
		boxes = append(boxes, split.Box{Size: n, Inodes: entries})
	}
	check(p.each, errEach)
	if wrong != nil {
		p.w.message = wrong.caption.Text + ": " + wrong.fault.Text
		kit.Relayout(p.root)
		p.w.win.Canvas().Focus(wrong.size)
	}
	return boxes, wrong == nil
}

// start divides the disk beside the window.
func (p *splitPage) start() {
	if p.task != nil {
		return
	}
	boxes, ok := p.read()
	if !ok {
		return
	}
	p.stale()
	p.w.remember()
	job := checks.Job{Source: p.source, Version: p.w.desktop.Version, Expect: p.expect}
	list, o := p.list, split.Options{Boxes: boxes, Unit: p.unit}
	var plan *split.Plan
	p.run("Dividing", func(ctx context.Context, watch func(checks.Event)) (err error) {
		if list != "" {
			job.CopyList, err = share.Guard(ctx, 0, func() (*checks.CopyList, error) { return checks.OpenCopyList(list) })
			if err != nil {
				return &checks.JobError{Field: checks.FieldCopyList, Err: err, Hint: "choose another list in the set-up, or leave the field empty"}
			}
		}
		plan, err = p.deal(ctx, job, o, watch)
		return err
	}, func(err error) {
		switch {
		case err == nil:
			p.plan, p.shown = plan, 0
			p.fillSide()
		case stoppedErr(err):
			p.complain("Stopped. Nothing was divided.")
		default:
			var job *checks.JobError
			if errors.As(err, &job) && job.Hint != "" {
				err = fmt.Errorf("%w. %s", job.Err, capitalize(job.Hint))
			}
			p.complain(capitalize(strings.TrimPrefix(oneLine(err.Error()), checks.ErrBadJob.Error()+": ")) + ".")
		}
		p.show()
		if p.plan != nil && p.w.at == pageSplit && p.w.sheet == nil {
			p.w.win.Canvas().Focus(p.choices[0])
		}
	})
}

// run works beside the window with a bar. Work must not touch the window; done is told how it ended.
func (p *splitPage) run(doing string, work func(context.Context, func(checks.Event)) error, done func(error)) {
	p.task = &runner{postWait: p.w.desktop.PostWait}
	p.complain("")
	p.numbers.Set(doing, "")
	p.meter.SetUnknown(1)
	p.show()
	if c := p.w.win.Canvas(); p.w.sheet == nil && p.w.at == pageSplit {
		c.Focus(p.stop)
	}
	p.task.start(work, func(_ []checks.Event, now checks.Progress) {
		if now.Done < 0 || now.Phase == "" {
			p.meter.SetUnknown(1 + now.Elapsed.Seconds()/4)
		} else {
			p.meter.Set(now.Done)
		}
		if words := progressWords(now); words != "" {
			p.numbers.Set(words, "")
		}
	}, func(err error) {
		lost := p.w.win.Canvas().Focused() == p.stop
		p.task = nil
		p.show()
		if lost && p.w.at == pageSplit && p.w.sheet == nil {
			p.w.win.Canvas().Focus(p.divide)
		}
		done(err)
	})
}

func (p *splitPage) halt() {
	if p.task != nil {
		p.numbers.Set("Stopping", "")
		p.task.stop()
	}
}

func (p *splitPage) busy() bool { return p.task != nil }

func (p *splitPage) leave() { p.halt() }

func (p *splitPage) complain(problem string) {
	p.problem.Set(problem, "")
	if problem != "" {
		p.w.message = problem
	}
}

// show writes what there is now.
func (p *splitPage) show() {
	if p.root == nil {
		return
	}
	busy, made := p.task != nil, p.plan != nil
	what := names.Quote(p.source)
	if p.list != "" {
		what = "Of " + what + ", what is on the copy list " + names.Quote(p.list)
	}
	switch {
	case p.dir != "":
		text := "The lists are in " + names.Quote(p.dir) + ". Next, one box at a time: check before copying with the box’s list, copy what is on it with your own copy command, and check after copying with the same list. "
		if !p.nul {
			text += "With the POSIX utility pax, in the source: pax -rw -d /mnt/share < " + split.ListName(p.firstList()) + ". "
		}
		if p.nul {
			text += "A name contains a line break, so each path in the lists ends with NUL: tell your copy command so. "
		}
		p.intro.Set(text+"Keep the source until all of it has arrived.", kit.ColText)
	default:
		p.intro.Set("How much does each box take? "+what+" is divided into one copy list per box. The disk is only read.", kit.ColMuted)
	}
	for _, b := range append(p.boxes[:len(p.boxes):len(p.boxes)], p.each) {
		kit.SetEnabled(b.size, !busy)
		if b.remove != nil {
			kit.SetEnabled(b.remove, len(p.boxes) > 1 && !busy)
		}
	}
	kit.SetEnabled(p.add, !busy)
	kit.SetVisible(p.divide, !busy)
	kit.SetVisible(p.stop, busy)
	kit.SetVisible(p.save, made && !busy && p.firstList() >= 0)
	p.divide.SetKind(loud(!made))
	p.save.SetKind(loud(p.dir == ""))
	kit.SetVisible(p.problem, p.problem.Text != "")
	kit.SetVisible(p.meterPlace, busy)
	kit.SetVisible(p.verdictPlace, made && !busy)
	kit.SetVisible(p.how, !made)
	kit.SetVisible(p.result, made)
	if made && !busy {
		b := statusBadge(checks.Passed)
		if len(p.plan.Left) > 0 {
			b = statusBadge(checks.Failed)
		}
		p.mark.Set(b.Mark, b.Color)
		p.answer.Set(p.plan.Summary(), "")
		p.table.Renew()
		p.choose(p.table.Chosen)
	}
	kit.Relayout(p.root)
}

func loud(next bool) kit.ButtonKind {
	if next {
		return kit.Primary
	}
	return kit.Plain
}

// firstList is the first box that gets a list; -1 if none does.
func (p *splitPage) firstList() int {
	if p.plan != nil {
		for i := range p.plan.Loads { // by its place: the name of its list may just be written
			if p.plan.Loads[i].Files > 0 {
				return i
			}
		}
	}
	return -1
}
