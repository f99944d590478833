package gui

import (
	"slices"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/kit"
)

// lowPage is the height below which drawings are left to open cards.
const lowPage = 600

// groupMargin is where the groups' names stand, beside their cards.
const groupMargin = 148

// cardList is all cards of a stage, by group, then the largest folders.
type cardList struct {
	cards  []*card
	byID   map[string]*card
	groups []*group
	bars   *group
	page   *kit.Page

	report *checks.Report
	folder []checks.FolderSum
}

// cardActions are what an open card can lead to.
type cardActions struct {
	files func(*checks.Check) // shows the flagged files of one check
	equal func()              // shows the files of equal content, as a list to save
	clean func()              // removes trial folders of earlier checks
	fix   func()              // shows the page of repairs
	read  func()              // reads the whole disk; nil where that is no question
	copy  func(string)        // puts a command on the clipboard

	sleepy func() bool // this computer cannot be kept awake
	split  func()      // deals the disk out to several boxes; nil where that is no question
	// several reports whether there is more than one disk, so that fix cannot be offered; nil: never.
	several func() bool
}

// group is the cards that answer one part of the question, with its name in the margin.
type group struct {
	name  *kit.Text
	says  *kit.Text
	cards []*card
	box   *fyne.Container
}

func newGroup(name, says string) *group {
	return &group{
		name: kit.NewText(name, kit.SizeTitle, kit.ColText).Bold().Truncated(),
		says: kit.NewText(says, kit.SizeSmall+1, kit.ColMuted).Truncated(),
	}
}

// show puts a panel beside the name.
func (g *group) show(panel fyne.CanvasObject) {
	g.box = kit.Arrange(arrangeGroup, func(o []fyne.CanvasObject) fyne.Size { return fyne.NewSize(260, 27+o[2].MinSize().Height) }, g.name, g.says, panel)
}

func newCardList(list []*checks.Check, do cardActions) *cardList {
	l := &cardList{byID: map[string]*card{}}
	var blocks []fyne.CanvasObject
	var at *group
	var rows []fyne.CanvasObject
	flush := func() {
		if at != nil {
			panel := kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(0, rows...)).Pad(0, 3)
			at.show(panel)
			blocks = append(blocks, at.box)
		}
		rows = nil
	}
	name := checks.Group("")
	for _, c := range grouped(list) {
		if c.Group != name || at == nil {
			flush()
			name = c.Group
			at = newGroup(string(name), "")
			l.groups = append(l.groups, at)
		}
		k := newCard(c)
		k.build = func(k *card) fyne.CanvasObject { return detail(k, do) }
		k.toggled = func(*card) {
			l.page.Reflow()
			if k.open {
				l.page.ShowMost(k)
			}
		}
		k.low = func() bool { h := l.page.Size().Height; return h > 0 && h < lowPage }
		if p, has := l.pictureOf(k); p != nil {
			k.picture, k.pictured = p, has
			p.Hide()
		}
		if len(rows) > 0 {
			rows = append(rows, kit.NewInset(cardPad, 0, kit.NewRule()))
		}
		rows = append(rows, k)
		at.cards = append(at.cards, k)
		l.cards = append(l.cards, k)
		l.byID[c.ID] = k
	}
	flush()
	folders := newFolderBars(func() []checks.FolderSum { return l.folder }, func(s checks.FolderSum) string { return onDisk(l.report, s.Source, s.Path) })
	l.bars = newGroup("Largest folders", "by bytes")
	l.bars.show(kit.NewSurface(kit.ColSurface, kit.ColLine, folders).Pad(cardPad, 10))
	l.bars.box.Hide()
	blocks = append(blocks, l.bars.box)
	l.page = kit.NewPage(kit.NewColumn(kit.GapMid, blocks...))
	return l
}

// grouped keeps the order of the checks within their groups, and puts the groups in theirs.
func grouped(list []*checks.Check) []*checks.Check {
	place := map[checks.Group]int{
		checks.GroupShare: 0, checks.GroupNames: 1, checks.GroupFiles: 2,
		checks.GroupTime: 3, checks.GroupCopy: 4, checks.GroupArrival: 5,
	}
	out := slices.Clone(list)
	slices.SortStableFunc(out, func(a, b *checks.Check) int { return place[a.Group] - place[b.Group] })
	return out
}

// pictureOf returns the drawing that a check's card carries, nil for most, and whether there is something to draw.
func (l *cardList) pictureOf(k *card) (drawing *kit.Drawing, has func() bool) {
	switch k.check.ID {
	case checkSpace:
		load := func(r *checks.Result) (kit.Load, bool) {
			if l.report == nil {
				return kit.Load{}, false
			}
			return loadOf(r, l.report.Share, l.report.Totals)
		}
		return picture(k, load, func(get func() kit.Load) *kit.Drawing { return kit.NewGauge(get, checks.Bytes) })
	case "copy-time":
		return picture(k, spansOf, newTimeBars)
	case checkReads:
		return picture(k, curveOf, newRateCurve)
	}
	return nil, nil
}

// picture draws what a result of a card's check says.
func picture[T any](k *card, of func(*checks.Result) (T, bool), draw func(get func() T) *kit.Drawing) (drawing *kit.Drawing, has func() bool) {
	now := func() (v T, ok bool) {
		if k.result != nil {
			v, ok = of(k.result)
		}
		return v, ok
	}
	get := func() T { v, _ := now(); return v }
	return draw(get), func() bool { _, ok := now(); return ok }
}

// update shows one check's state; it returns whether heights changed.
func (l *cardList) update(id string, s checks.Status, res *checks.Result, doing string) bool {
	k := l.byID[id]
	return k != nil && k.show(s, res, doing)
}

// finish shows what only a whole report knows: the gauges and the largest folders. Nil takes them
// away.
func (l *cardList) finish(rep *checks.Report) {
	l.report = rep
	for _, k := range l.cards {
		k.setDisks(perDisk(rep, k.result))
		if k.picture == nil {
			continue
		}
		on := rep != nil && k.pictured()
		kit.SetVisible(k.picture, on)
		if on {
			k.picture.Refresh()
		}
	}
	l.folder = nil
	if rep != nil {
		l.folder = rep.Largest
	}
	kit.SetVisible(l.bars.box, len(l.folder) > 0)
	if len(l.folder) > 0 {
		l.bars.box.Refresh()
	}
	l.margins()
	l.page.Reflow()
}

// margins writes under each group's name what became of it.
func (l *cardList) margins() {
	for _, g := range l.groups {
		var fix, care, blind, done int64
		for _, k := range g.cards {
			switch k.status {
			case checks.Failed:
				fix++
			case checks.Warned:
				care++
			case checks.Unknown:
				blind++
			case checks.Waiting, checks.Running:
				continue
			}
			done++
		}
		switch {
		case done < int64(len(g.cards)):
			g.says.Set("", kit.ColMuted)
		case fix > 0:
			g.says.Set(checks.Count(fix)+" to fix first", kit.ColFail)
		case care > 0:
			g.says.Set(checks.Count(care)+" to take care of", kit.ColWarn)
		case blind > 0:
			g.says.Set(checks.Count(blind)+" not checked", kit.ColUnknown)
		default:
			g.says.Set("All good", kit.ColPass)
		}
	}
}

// arrangeGroup: name and state in the margin, the panel beside them; on narrow windows above it.
func arrangeGroup(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	name, says, panel := o[0].(*kit.Text), o[1], o[2]
	if room.Width < kit.PageWide {
		w, h := name.FullWidth(), kit.HeightOf(panel, room.Width)
		put(name, 2, 0, min(w, room.Width/2), 22)
		put(says, w+14, 1, room.Width-w-14, 22)
		put(panel, 0, 27, room.Width, h)
		return 27 + h
	}
	w := room.Width - groupMargin
	h := kit.HeightOf(panel, w)
	put(name, 0, 12, groupMargin-12, 22)
	put(says, 0, 34, groupMargin-12, 20)
	put(panel, groupMargin, 0, w, h)
	return max(h, 58)
}
