package gui

import (
	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/kit"
)

const folderBarHeight = 28

// newFolderBars draws the largest folders: where bytes and trouble sit.
func newFolderBars(get func() []checks.FolderSum, name func(checks.FolderSum) string) *kit.Drawing {
	return kit.NewDrawing(
		func(float32) float32 { return float32(len(get())) * folderBarHeight },
		func(p *kit.Pen) { drawFolderBars(p, get(), name) })
}

func drawFolderBars(p *kit.Pen, sums []checks.FolderSum, called func(checks.FolderSum) string) {
	most := int64(1)
	for _, s := range sums {
		most = max(most, s.Bytes)
	}
	nameW := p.Width * 0.36
	barX := nameW + 14
	const sizeW, flagsW = 84, 150
	barW := p.Width - barX - sizeW - flagsW - 20
	for i, s := range sums {
		y := float32(i) * folderBarHeight
		ty := y + (folderBarHeight-18)/2
		mono := fyne.TextStyle{Monospace: true}
		name := kit.Fit(called(s), nameW, kit.CutMiddle, func(t string) float32 { return kit.Measure(t, kit.SizeBody-1, mono).Width })
		p.Word(0, ty, 0, name, kit.SizeBody-1, kit.ColText, mono)
		p.Box(barX, y+9, barW, 10, 4, kit.ColInset)
		p.Box(barX, y+9, max(barW*float32(float64(s.Bytes)/float64(most)), 3), 10, 4, kit.ColAccent)
		text := checks.Bytes(s.Bytes)
		w := kit.Measure(text, kit.SizeBody-1, fyne.TextStyle{}).Width
		p.Word(barX+barW+sizeW-w, ty, 0, text, kit.SizeBody-1, kit.ColText, fyne.TextStyle{})
		x := barX + barW + sizeW + 20
		for _, l := range []checks.Level{checks.Fail, checks.Warn} {
			if n := s.Flagged[l]; n > 0 {
				lk := levelBadge(l)
				p.Mark(x, y+7, 14, lk.Mark, lk.Color)
				x += 19 + p.Word(x+19, ty, 0, checks.Count(int64(n)), kit.SizeBody-1, lk.Color, fyne.TextStyle{Bold: true}) + 12
			}
		}
		if s.Flagged[checks.Fail]+s.Flagged[checks.Warn] == 0 {
			p.Word(x, ty, 0, "nothing flagged", kit.SizeBody-1, kit.ColMuted, fyne.TextStyle{})
		}
	}
}
