package gui

import (
	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

// splitLayout: title, the boxes' sizes, and below them what came of it, or how it works. What finds no room
// scrolls.
type splitLayout struct{ p *splitPage }

const (
	splitPad   = 14  // within the panels of the page
	splitLeast = 230 // height of what came of it, or the list would show no rows
)

// top places title and sizes, and returns where the rest begins.
func (splitLayout) top(o []fyne.CanvasObject, w float32, place bool) (y float32) {
	e := kit.Edge(w)
	y = kit.GapMid
	for _, x := range o[:2] {
		h := kit.HeightOf(x, w-2*e)
		if place {
			kit.SetBounds(x, e, y, w-2*e, h)
		}
		y += h + 10
	}
	return y
}

func (l splitLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	e := kit.Edge(s.Width)
	w, y := s.Width-2*e, l.top(o, s.Width, true)
	kit.SetBounds(o[2], e, y, w, kit.HeightOf(o[2], w))
	kit.SetBounds(o[3], e, y, w, max(s.Height-y-kit.GapMid, splitLeast))
}

func (l splitLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	rest := float32(splitLeast)
	if o[2].Visible() {
		rest = kit.HeightOf(o[2], w-2*kit.Edge(w))
	}
	return max(l.top(o, w, false)+rest+kit.GapMid, l.p.root.Size().Height-4) // a page leaves 4 at its foot
}

func (splitLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, 300) }

// boxesLayout: the fields flow to the left, the buttons stand to the right. Of many boxes the fields scroll.
type boxesLayout struct{ fields fyne.CanvasObject }

// boxesMost is how high the fields get, three lines of them.
const boxesMost = 142

func (l *boxesLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	b := o[1].MinSize()
	kit.SetBounds(o[0], 0, 0, s.Width-b.Width-16, s.Height)
	kit.SetBounds(o[1], s.Width-b.Width, 2, b.Width, b.Height) // level with the fields
}

func (l *boxesLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	b := o[1].MinSize()
	return max(min(kit.HeightOf(l.fields, w-b.Width-16)+4, boxesMost), b.Height)
}

func (*boxesLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(500, o[1].MinSize().Height)
}

// besideBar leaves room for a scroll bar.
type besideBar struct{}

const barRoom = 12

func (besideBar) Layout(o []fyne.CanvasObject, s fyne.Size) {
	kit.SetBounds(o[0], 0, 0, s.Width-barRoom, s.Height)
}

func (besideBar) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return kit.HeightOf(o[0], w-barRoom)
}

func (besideBar) MinSize(o []fyne.CanvasObject) fyne.Size {
	return o[0].MinSize().AddWidthHeight(barRoom, 0)
}

// splitResult: the boxes at the side, what is in one of them beside it, and what is chosen at the foot.
type splitResult struct{}

func (splitResult) Layout(o []fyne.CanvasObject, s fyne.Size) {
	side := float32(330)
	switch {
	case s.Width < 760:
		side = 216
	case s.Width < 1000:
		side = 282
	}
	foot := min(max(kit.HeightOf(o[2], s.Width), 62), s.Height*0.4)
	high := max(s.Height-foot-10, 60)
	kit.SetBounds(o[0], 0, 0, side, high)
	kit.SetBounds(o[1], side+10, 0, s.Width-side-10, high)
	kit.SetBounds(o[2], 0, high+10, s.Width, foot)
}

func (splitResult) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(560, 160) }

// splitFoot: a path and what is said of it, and the buttons beside them.
type splitFoot struct{}

func (splitFoot) columns(o []fyne.CanvasObject, w float32) (texts, buttons float32) {
	row := o[2].(*fyne.Container)
	form := 0
	if w < footNarrow+160 {
		form = 1
	}
	if buttons = kit.RowWidth(row, form); buttons <= 0 {
		return w, 0
	}
	return w - buttons - 16, buttons
}

func (l splitFoot) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w, buttons := l.columns(o, s.Width)
	path, why := kit.HeightOf(o[0], w), kit.HeightOf(o[1], w)
	gap := float32(0)
	if path > 0 {
		gap = footGap
	}
	y := max((s.Height-path-gap-why)/2, 0)
	kit.SetBounds(o[0], 0, y, w, path)
	kit.SetBounds(o[1], 0, y+path+gap, w, why)
	high := o[2].MinSize().Height
	kit.SetBounds(o[2], s.Width-buttons, (s.Height-high)/2, buttons, high)
}

func (l splitFoot) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	texts, _ := l.columns(o, w)
	return max(kit.HeightOf(o[0], texts)+footGap+kit.HeightOf(o[1], texts), o[2].MinSize().Height)
}

func (splitFoot) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(400, 34) }
