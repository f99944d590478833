package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
	"loadline/gui/kit"
)

// frameLayout: the bar above, the page, and a notice at the foot while there is one.
type frameLayout struct{}

const barHigh = 56

func (frameLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	kit.SetBounds(o[0], 0, 0, s.Width, s.Height)
	kit.SetBounds(o[1], 0, 0, s.Width, barHigh)
	w := min(s.Width-2*kit.Edge(s.Width), kit.PageMost)
	foot := float32(0)
	if o[3].Visible() {
		h := kit.HeightOf(o[3], w)
		kit.SetBounds(o[3], (s.Width-w)/2, s.Height-h-12, w, h)
		foot = h + 24
	}
	kit.SetBounds(o[2], 0, barHigh, s.Width, s.Height-barHigh-foot)
}

func (frameLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(620, 380) }

// topBar holds the three stages and what can be done in every one.
type topBar struct {
	box                          *fyne.Container
	stages                       map[checks.Stage]*kit.Button
	save, fix, last, keys, theme *kit.Button
	boxes                        *kit.Button
	right                        *fyne.Container
}

func newTopBar(w *Window) *topBar {
	b := &topBar{stages: map[checks.Stage]*kit.Button{}}
	var tabs []fyne.CanvasObject
	for i, s := range Stages {
		number := string(rune('1'+i)) + "  "
		t := kit.NewButton(kit.Toggle, "", number+stageWords[s].name, func() { w.setStage(s) }).Shorter(number + stageWords[s].short)
		b.stages[s] = t
		tabs = append(tabs, t)
	}
	b.fix = kit.NewButton(kit.Quiet, "wrench", "Fix names", w.showFix).Shorter("Fix", "")
	b.boxes = kit.NewButton(kit.Quiet, "boxes", "More boxes", w.showSplit).Shorter("Boxes", "")
	b.save = kit.NewButton(kit.Quiet, "save", "Save report", w.save).Shorter("Save", "")
	b.last = kit.NewButton(kit.Quiet, "history", "Last report", w.openLast).Shorter("Last", "")
	b.keys = kit.NewButton(kit.Quiet, "keys", "Shortcuts", w.showKeys).Shorter("Shortcuts", "")
	b.theme = kit.NewButton(kit.Quiet, "light", "Theme", w.turnTheme).Shorter("Theme", "")
	b.right = kit.NewRow(2, b.fix, b.boxes, b.last, b.save, b.keys, b.theme)
	b.box = container.New(&barLayout{w}, kit.NewRow(6, tabs...), b.right, kit.NewRule())
	return b
}

// update shows the stage and what is possible now.
func (b *topBar) update(w *Window) {
	for s, t := range b.stages {
		t.SetOn(s == tabOf(w.stage))
		icon := ""
		if s == tabOf(w.running) && w.running != w.stage { // in sight from the other stages
			icon = "running"
		}
		t.Set(icon, t.Label)
	}
	kit.SetEnabled(b.save, w.at == pageFiles && w.files.model.rows() > 0 || w.at != pageFiles && w.view().report != nil && w.running != w.stage)
	kit.SetEnabled(b.last, w.running != w.stage && w.hasLast(w.stage))
	kit.SetEnabled(b.fix, w.running == "" && w.oneDisk())
	kit.SetEnabled(b.boxes, w.running == "" && w.oneDisk())
	icon := "dark"
	if kit.IsDark() {
		icon = "light"
	}
	b.theme.Set(icon, b.theme.Label)
	kit.Relayout(b.box)
}

// barLayout gives stages and buttons the longest labels that there is room for.
type barLayout struct{ w *Window }

func (l *barLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	e := kit.Edge(s.Width)
	if l.w.at == pageChecks {
		e = max(e, (s.Width-kit.PageMost)/2)
	}
	stages, buttons := o[0].(*fyne.Container), o[1].(*fyne.Container)
	var left, right float32
	for _, form := range [][2]int{{0, 0}, {0, 1}, {1, 1}, {0, 2}, {1, 2}} {
		left, right = kit.RowWidth(stages, form[0]), kit.RowWidth(buttons, form[1])
		if left+right+24 <= s.Width-2*e+10 {
			break
		}
	}
	h := o[0].MinSize().Height
	kit.SetBounds(stages, e, (barHigh-h)/2, left, h)
	kit.SetBounds(buttons, s.Width-e-right+10, (barHigh-h)/2, right, h)
	kit.SetBounds(o[2], 0, barHigh-1, s.Width, 1)
}

func (l *barLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, barHigh) }
