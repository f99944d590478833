package gui

import (
	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

// filesLayout: title, tools, the list, and what is chosen at the foot. The foot is high enough for
// most texts, so that the list does not change its height with every row.
type filesLayout struct {
	foot *footLayout // nil on the page of repairs, whose foot is a column
}

func (l *filesLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	e := kit.Edge(s.Width)
	least := float32(116)
	if l.foot != nil {
		if l.foot.low = s.Height < viewLow; l.foot.low {
			least = 84
		}
	}
	w := s.Width - 2*e
	y := float32(kit.GapMid)
	for _, x := range o[:2] {
		h := kit.HeightOf(x, w)
		kit.SetBounds(x, e, y, w, h)
		y += h + 10
	}
	foot := min(max(kit.HeightOf(o[3], w), least), s.Height*0.4)
	list := s.Height - y - foot - 10 - kit.GapMid
	kit.SetBounds(o[2], e, y, w, max(list, 80))
	kit.SetBounds(o[3], e, y+max(list, 80)+10, w, foot)
}

func (*filesLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, 300) }

// footLayout: path, what is wrong and what to do, one below the other, and beside them the buttons,
// with shorter words where it is narrow. On a low window the row itself must do for the path.
type footLayout struct{ low bool }

const (
	footNarrow = 760
	footGap    = 4
)

// columns returns the widths of the texts and of the buttons.
func (l *footLayout) columns(o []fyne.CanvasObject, w float32) (texts, buttons float32) {
	form := 0
	if w < footNarrow {
		form = 1
	}
	buttons = kit.RowWidth(o[3].(*fyne.Container), form)
	return w - buttons - 16, buttons
}

// heights returns the height of each text; 0 for one that is left out.
func (l *footLayout) heights(o []fyne.CanvasObject, w float32) (all [3]float32, sum float32) {
	for i := range all {
		if i == 0 && l.low {
			continue
		}
		if all[i] = kit.HeightOf(o[i], w); all[i] > 0 {
			if sum > 0 {
				sum += footGap
			}
			sum += all[i]
		}
	}
	return all, sum
}

func (l *footLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w, buttons := l.columns(o, s.Width)
	heights, sum := l.heights(o, w)
	y := max((s.Height-sum)/2, 0)
	for i, h := range heights {
		kit.SetBounds(o[i], 0, y, w, h)
		if h > 0 {
			y += h + footGap
		}
	}
	high := o[3].MinSize().Height
	kit.SetBounds(o[3], s.Width-buttons, (s.Height-high)/2, buttons, high)
}

func (l *footLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	texts, _ := l.columns(o, w)
	_, sum := l.heights(o, texts)
	return max(sum, o[3].MinSize().Height)
}

func (*footLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(400, 34) }

// toolsLayout: text, rule and levels to the left, the list's own buttons to the right; two lines
// where it is narrow. The levels have their words where there is much room.
type toolsLayout struct{}

const (
	toolsNarrow = 820
	toolsWords  = 1160
)

func (toolsLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	const gap, high = 10, 36
	form := 1
	if s.Width >= toolsWords {
		form = 0
	}
	rule, levels, list := o[1].MinSize().Width, kit.RowWidth(o[2].(*fyne.Container), form), o[3].MinSize().Width
	if s.Width < toolsNarrow {
		kit.SetBounds(o[0], 0, 0, s.Width-rule-gap, high)
		kit.SetBounds(o[1], s.Width-rule, 0, rule, high)
		kit.SetBounds(o[2], 0, high+8, levels, high)
		kit.SetBounds(o[3], s.Width-list, high+8, list, high)
		return
	}
	find := min(s.Width-rule-levels-list-3*gap, 420)
	kit.SetBounds(o[0], 0, 0, find, high)
	kit.SetBounds(o[1], find+gap, 0, rule, high)
	kit.SetBounds(o[2], find+rule+2*gap, 0, levels, high)
	kit.SetBounds(o[3], s.Width-list, 0, list, high)
}

func (toolsLayout) HeightFor(_ []fyne.CanvasObject, w float32) float32 {
	if w < toolsNarrow {
		return 80
	}
	return 36
}

func (toolsLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(500, 36) }
