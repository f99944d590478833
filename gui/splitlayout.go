package gui

import (
	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

const (
	splitPad   = 14  // within the panels of the page
	splitLeast = 230 // height of what came of it, or the list would show no rows
	boxesMost  = 142 // height of the fields, three lines of them
	barRoom    = 12  // of a scroll bar
)

// arrange: title, the boxes' sizes, and below them what came of it, or how it works. What finds no room
// scrolls.
func (p *splitPage) arrange(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	e := kit.Edge(room.Width)
	w, y := room.Width-2*e, float32(kit.GapMid)
	for _, x := range o[:2] {
		h := kit.HeightOf(x, w)
		put(x, e, y, w, h)
		y += h + 10
	}
	how, rest := kit.HeightOf(o[2], w), float32(splitLeast)
	put(o[2], e, y, w, how)
	put(o[3], e, y, w, max(room.Height-y-kit.GapMid, splitLeast))
	if o[2].Visible() {
		rest = how
	}
	return max(y+rest+kit.GapMid, p.root.Size().Height-4) // a page leaves 4 at its foot
}

// arrangeBoxes: the fields flow to the left, the buttons stand to the right. Of many boxes the fields scroll.
func (p *splitPage) arrangeBoxes(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	b := o[1].MinSize()
	w := room.Width - b.Width - 16
	put(o[0], 0, 0, w, room.Height)
	put(o[1], room.Width-b.Width, 2, b.Width, b.Height) // level with the fields
	return max(min(kit.HeightOf(p.inset, w)+4, boxesMost), b.Height)
}

// besideBar leaves room for a scroll bar.
func besideBar(o fyne.CanvasObject) *fyne.Container {
	return kit.Arrange(func(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
		put(o[0], 0, 0, room.Width-barRoom, room.Height)
		return kit.HeightOf(o[0], room.Width-barRoom)
	}, func(o []fyne.CanvasObject) fyne.Size { return o[0].MinSize().AddWidthHeight(barRoom, 0) }, o)
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
