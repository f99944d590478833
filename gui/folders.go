package gui

import (
	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
)

const folderBarHeight = 28

// newFolderBars draws the largest folders: where bytes and trouble sit.
func newFolderBars(get func() []checks.FolderSum) *drawing {
	return newDrawing(
		func(float32) float32 { return float32(len(get())) * folderBarHeight },
		func(p *pen) { drawFolderBars(p, get()) })
}

func drawFolderBars(p *pen, sums []checks.FolderSum) {
	most := int64(1)
	for _, s := range sums {
		most = max(most, s.Bytes)
	}
	nameW := p.w * 0.36
	barX := nameW + 14
	const sizeW, flagsW = 84, 150
	barW := p.w - barX - sizeW - flagsW - 20
	for i, s := range sums {
		y := float32(i) * folderBarHeight
		ty := y + (folderBarHeight-18)/2
		mono := fyne.TextStyle{Monospace: true}
		name := fit(names.Quote(s.Path), nameW, cutMiddle, func(t string) float32 { return measure(t, sizeBody-1, mono).Width })
		p.word(0, ty, 0, name, sizeBody-1, colText, mono)
		p.box(barX, y+9, barW, 10, 4, colInset)
		p.box(barX, y+9, max(barW*float32(float64(s.Bytes)/float64(most)), 3), 10, 4, colAccent)
		text := checks.Bytes(s.Bytes)
		w := measure(text, sizeBody-1, fyne.TextStyle{}).Width
		p.word(barX+barW+sizeW-w, ty, 0, text, sizeBody-1, colText, fyne.TextStyle{})
		x := barX + barW + sizeW + 20
		for _, l := range []checks.Level{checks.Fail, checks.Warn} {
			if n := s.Flagged[l]; n > 0 {
				lk := levelBadge(l)
				p.mark(x, y+7, 14, lk.mark, lk.color)
				x += 19 + p.word(x+19, ty, 0, checks.Count(int64(n)), sizeBody-1, lk.color, fyne.TextStyle{Bold: true}) + 12
			}
		}
		if s.Flagged[checks.Fail]+s.Flagged[checks.Warn] == 0 {
			p.word(x, ty, 0, "nothing flagged", sizeBody-1, colMuted, fyne.TextStyle{})
		}
	}
}
