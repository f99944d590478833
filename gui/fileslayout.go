package gui

import (
	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/kit"
)

// filesLayout: title, tools, the list, and what is chosen at the foot. The foot is high enough for
// most texts, so that the list does not change its height with every row.
type filesLayout struct {
	p *filesPage // nil on the page of repairs, which is laid out alike
}

const footHigh = 116

func (l *filesLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	e := kit.Edge(s.Width)
	footLeast := float32(footHigh)
	if l.p != nil { // on a low window the row itself must do for the path
		if l.p.path.Hidden = s.Height < viewLow; l.p.path.Hidden {
			footLeast = 84
		}
	}
	w := s.Width - 2*e
	y := float32(kit.GapMid)
	for _, x := range o[:2] {
		h := kit.HeightOf(x, w)
		kit.SetBounds(x, e, y, w, h)
		y += h + 10
	}
	foot := min(max(kit.HeightOf(o[3], w), footLeast), s.Height*0.4)
	list := s.Height - y - foot - 10 - kit.GapMid
	kit.SetBounds(o[2], e, y, w, max(list, 80))
	kit.SetBounds(o[3], e, y+max(list, 80)+10, w, foot)
}

func (*filesLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, 300) }

// footLayout: what is wrong with the chosen row, and its buttons beside it, with shorter words where
// it is narrow.
type footLayout struct {
	p     *filesPage
	width float32
}

const footNarrow = 760

func (l *footLayout) text(o []fyne.CanvasObject, w float32) float32 {
	if w != l.width {
		l.width = w
		words := [3]string{"Full name", "Copy path", "Open folder"}
		if w < footNarrow {
			words = [3]string{"Name", "Copy", "Open"}
		}
		for i, b := range []*kit.Button{l.p.full, l.p.copy, l.p.reveal} {
			b.Set(b.Icon, words[i])
		}
	}
	return w - o[1].MinSize().Width - 16
}

func (l *footLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w, b := l.text(o, s.Width), o[1].MinSize()
	h := min(kit.HeightOf(o[0], w), s.Height)
	kit.SetBounds(o[0], 0, (s.Height-h)/2, w, h)
	kit.SetBounds(o[1], s.Width-b.Width, (s.Height-b.Height)/2, b.Width, b.Height)
}

func (l *footLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(kit.HeightOf(o[0], l.text(o, w)), o[1].MinSize().Height)
}

func (*footLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(400, 34) }

// toolsLayout: text, rule and levels to the left, the list's own buttons to the right; two lines
// where it is narrow.
type toolsLayout struct {
	p     *filesPage
	width float32
}

const (
	toolsNarrow = 820
	toolsWords  = 1160 // from here on the levels have their words
)

func (l *toolsLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	const gap, high = 10, 36
	if s.Width != l.width {
		l.width = s.Width
		for level, b := range l.p.levels {
			label := checks.Count(l.p.counts[level])
			if s.Width >= toolsWords {
				label = levelWord(checks.Level(level)) + "  " + label
			}
			b.Set(b.Icon, label)
		}
	}
	rule, levels, list := o[1].MinSize().Width, o[2].MinSize().Width, o[3].MinSize().Width
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

func (*toolsLayout) HeightFor(_ []fyne.CanvasObject, w float32) float32 {
	if w < toolsNarrow {
		return 80
	}
	return 36
}

func (*toolsLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(500, 36) }
