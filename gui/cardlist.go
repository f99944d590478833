package gui

import (
	"slices"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

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

func newCardList(list []*checks.Check, do cardActions) *cardList {
	l := &cardList{byID: map[string]*card{}}
	var blocks []fyne.CanvasObject
	var at *group
	var rows []fyne.CanvasObject
	flush := func() {
		if at != nil {
			panel := kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(0, rows...)).Pad(0, 3)
			at.box = container.New(&groupLayout{}, at.name, at.says, panel)
			blocks = append(blocks, at.box)
		}
		rows = nil
	}
	name := checks.Group("")
	for _, c := range grouped(list) {
		if c.Group != name || at == nil {
			flush()
			name = c.Group
			at = &group{name: kit.NewText(string(name), kit.SizeTitle, kit.ColText).Bold().Truncated(), says: kit.NewText("", kit.SizeSmall+1, kit.ColMuted).Truncated()}
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
		if p := l.pictureOf(k); p != nil {
			k.picture = p
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
	l.bars = &group{name: kit.NewText("Largest folders", kit.SizeTitle, kit.ColText).Bold().Truncated(), says: kit.NewText("by bytes", kit.SizeSmall+1, kit.ColMuted).Truncated()}
	l.bars.box = container.New(&groupLayout{}, l.bars.name, l.bars.says, kit.NewSurface(kit.ColSurface, kit.ColLine, folders).Pad(cardPad, 10))
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

// pictureOf returns the drawing that a check's card carries; nil for most.
func (l *cardList) pictureOf(k *card) *kit.Drawing {
	switch k.check.ID {
	case "free-space":
		return kit.NewGauge(func() kit.Load {
			if l.report == nil {
				return kit.Load{}
			}
			v, _ := loadOf(k.result, l.report.Share, l.report.Totals)
			return v
		}, checks.Bytes)
	case "copy-time":
		return newTimeBars(func() spans {
			if k.result == nil {
				return spans{}
			}
			v, _ := spansOf(k.result)
			return v
		})
	case checkReads:
		return newRateCurve(func() rateCurve {
			if k.result == nil {
				return rateCurve{}
			}
			v, _ := curveOf(k.result)
			return v
		})
	}
	return nil
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
		on := false
		if rep != nil && k.result != nil {
			switch k.check.ID {
			case "free-space":
				_, on = loadOf(k.result, rep.Share, rep.Totals)
			case "copy-time":
				_, on = spansOf(k.result)
			case checkReads:
				_, on = curveOf(k.result)
			}
		}
		if on {
			k.picture.Show()
			k.picture.Refresh()
		} else {
			k.picture.Hide()
		}
	}
	l.folder = nil
	if rep != nil {
		l.folder = rep.Largest
	}
	if len(l.folder) > 0 {
		l.bars.box.Show()
		l.bars.box.Refresh()
	} else {
		l.bars.box.Hide()
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

// groupLayout: name and state in the margin, the panel beside them; on narrow windows above it.
type groupLayout struct{}

func (groupLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	if s.Width < kit.PageWide {
		nameW := o[0].(*kit.Text).FullWidth()
		kit.SetBounds(o[0], 2, 0, min(nameW, s.Width/2), 22)
		kit.SetBounds(o[1], nameW+14, 1, s.Width-nameW-14, 22)
		kit.SetBounds(o[2], 0, 27, s.Width, s.Height-27)
		return
	}
	kit.SetBounds(o[0], 0, 12, groupMargin-12, 22)
	kit.SetBounds(o[1], 0, 34, groupMargin-12, 20)
	w := s.Width - groupMargin
	kit.SetBounds(o[2], groupMargin, 0, w, kit.HeightOf(o[2], w))
}

func (groupLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	if w < kit.PageWide {
		return 27 + kit.HeightOf(o[2], w)
	}
	return max(kit.HeightOf(o[2], w-groupMargin), 58)
}

func (groupLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(260, 27+o[2].MinSize().Height)
}
