package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/gui/kit"
)

// setup shows where the bytes go: from left to right, with the options below.
type setup struct {
	box     *kit.Surface
	from    *picker
	to      *picker
	options *options
}

func newSetup(from, to *picker, o *options) *setup {
	r := &setup{from: from, to: to, options: o}
	places := container.New(setupLayout{}, from.box, kit.NewMark("onward", kit.ColMuted, 22), to.box)
	parts := []fyne.CanvasObject{places}
	if o != nil {
		parts = append(parts, kit.NewInset(12, 0, kit.NewRule()), o.box)
	}
	r.box = kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(4, parts...)).Pad(4, 4)
	return r
}

// setupLayout puts the two places beside each other, with an arrow between them.
type setupLayout struct{}

func (setupLayout) side(w float32) float32 { return (w - 30) / 2 }

func (l setupLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w := l.side(s.Width)
	kit.SetBounds(o[0], 0, 0, w, s.Height)
	kit.SetBounds(o[1], w+4, (kit.HeightOf(o[0], w)-22)/2, 22, 22)
	kit.SetBounds(o[2], w+30, 0, w, s.Height)
}

func (l setupLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(kit.HeightOf(o[0], l.side(w)), kit.HeightOf(o[2], l.side(w)))
}

func (setupLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(560, max(o[0].MinSize().Height, o[2].MinSize().Height))
}
