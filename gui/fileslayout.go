package gui

import (
	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

// filesLayout: title, tools, the list, and what is chosen at the foot. The foot is high enough for
// most texts, so that the list does not change its height with every row.
type filesLayout struct {
	foot *foot // nil on the page of repairs, whose foot is a column
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

// foot says of what is chosen what there is to say, and has the buttons beside it, with shorter words where it is
// narrow. On a low window the first text is left out: the row itself must do.
type foot struct {
	narrow float32
	low    bool
}

const (
	footNarrow = 760
	footGap    = 4
)

// arrange puts the texts one below the other, and to their right the row of buttons, which comes last.
func (f *foot) arrange(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	texts, row := o[:len(o)-1], o[len(o)-1].(*fyne.Container)
	form := 0
	if room.Width < f.narrow {
		form = 1
	}
	w, buttons := room.Width, kit.RowWidth(row, form)
	if buttons > 0 {
		w -= buttons + 16
	}
	heights, sum := make([]float32, len(texts)), float32(0)
	for i, t := range texts {
		if i == 0 && f.low {
			continue
		}
		heights[i] = kit.HeightOf(t, w)
		if heights[i] > 0 && sum > 0 {
			sum += footGap
		}
		sum += heights[i]
	}
	y := max((room.Height-sum)/2, 0)
	for i, h := range heights {
		put(texts[i], 0, y, w, h)
		if h > 0 {
			y += h + footGap
		}
	}
	high := row.MinSize().Height
	put(row, room.Width-buttons, (room.Height-high)/2, buttons, high)
	return max(sum, high)
}

// box is the foot with what stands in it.
func (f *foot) box(o ...fyne.CanvasObject) *fyne.Container {
	return kit.Arrange(f.arrange, kit.AtLeast(400, 34), o...)
}

const (
	toolsNarrow = 820
	toolsWords  = 1160
	toolsHigh   = 36
)

// arrangeTools: text, rule and levels to the left, the list's own buttons to the right; two lines
// where it is narrow. The levels have their words where there is much room.
func arrangeTools(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	const gap, second = 10, toolsHigh + 8
	form := 1
	if room.Width >= toolsWords {
		form = 0
	}
	rule, levels, list := o[1].MinSize().Width, kit.RowWidth(o[2].(*fyne.Container), form), o[3].MinSize().Width
	if room.Width < toolsNarrow {
		put(o[0], 0, 0, room.Width-rule-gap, toolsHigh)
		put(o[1], room.Width-rule, 0, rule, toolsHigh)
		put(o[2], 0, second, levels, toolsHigh)
		put(o[3], room.Width-list, second, list, toolsHigh)
		return second + toolsHigh
	}
	find := min(room.Width-rule-levels-list-3*gap, 420)
	put(o[0], 0, 0, find, toolsHigh)
	put(o[1], find+gap, 0, rule, toolsHigh)
	put(o[2], find+rule+2*gap, 0, levels, toolsHigh)
	put(o[3], room.Width-list, 0, list, toolsHigh)
	return toolsHigh
}
