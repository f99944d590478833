package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
)

// frameLayout: the bar above, the page, and a notice at the foot while there is one.
type frameLayout struct{}

const barHigh = 56

func (frameLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	setBounds(o[0], 0, 0, s.Width, s.Height)
	setBounds(o[1], 0, 0, s.Width, barHigh)
	w := min(s.Width-2*edge(s.Width), pageMost)
	foot := float32(0)
	if o[3].Visible() {
		h := heightOf(o[3], w)
		setBounds(o[3], (s.Width-w)/2, s.Height-h-12, w, h)
		foot = h + 24
	}
	setBounds(o[2], 0, barHigh, s.Width, s.Height-barHigh-foot)
}

func (frameLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(620, 380) }

// topBar holds the three stages and what can be done in every one.
type topBar struct {
	box                          *fyne.Container
	stages                       map[checks.Stage]*button
	save, fix, last, keys, theme *button
	right                        *fyne.Container
}

func newTopBar(w *Window) *topBar {
	b := &topBar{stages: map[checks.Stage]*button{}}
	var tabs []fyne.CanvasObject
	for i, s := range Stages {
		t := newButton(toggle, "", string(rune('1'+i))+"  "+stageWords[s].name, func() { w.setStage(s) })
		b.stages[s] = t
		tabs = append(tabs, t)
	}
	b.fix = newButton(quiet, "wrench", "Fix names", w.showFix)
	b.save = newButton(quiet, "save", "Save report", w.save)
	b.last = newButton(quiet, "history", "Last report", w.openLast)
	b.keys = newButton(quiet, "keys", "Shortcuts", w.showKeys)
	b.theme = newButton(quiet, "light", "Theme", w.turnTheme)
	b.right = newRow(2, b.fix, b.last, b.save, b.keys, b.theme)
	b.box = container.New(&barLayout{w: w, b: b}, newRow(6, tabs...), b.right, newRule())
	return b
}

// update shows the stage and what is possible now.
func (b *topBar) update(w *Window) {
	for s, t := range b.stages {
		t.setOn(s == w.stage)
		icon := ""
		if s == w.running && s != w.stage { // in sight from the other stages
			icon = "running"
		}
		t.set(icon, t.label)
	}
	able(b.save, w.at == pageFiles && w.files.model.rows() > 0 || w.at != pageFiles && w.view().report != nil && w.running != w.stage)
	able(b.last, w.running != w.stage && w.hasLast(w.stage))
	able(b.fix, w.running == "" && w.canFix())
	icon := "dark"
	if isDark() {
		icon = "light"
	}
	b.theme.set(icon, b.theme.label)
	relayout(b.box)
}

// barLayout leaves words out where there is no room for them.
type barLayout struct {
	w     *Window
	b     *topBar
	width float32
}

func (l *barLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	if s.Width != l.width {
		l.width = s.Width
		words := [5]string{"Fix names", "Last report", "Save report", "Shortcuts", "Theme"}
		if s.Width < 1080 {
			words = [5]string{"Fix", "Last", "Save", "Shortcuts", "Theme"}
		}
		for i, x := range []*button{l.b.fix, l.b.last, l.b.save, l.b.keys, l.b.theme} {
			label := words[i]
			if s.Width < 900 {
				label = ""
			}
			x.set(x.icon, label)
		}
		for i, st := range Stages {
			label := string(rune('1'+i)) + "  " + stageWords[st].name
			if s.Width < 760 {
				label = [3]string{"1  Before", "2  After", "3  Arrival"}[i]
			}
			l.b.stages[st].set(l.b.stages[st].icon, label)
		}
	}
	e := edge(s.Width)
	if l.w.at == pageChecks {
		e = max(e, (s.Width-pageMost)/2)
	}
	a, b := o[0].MinSize(), o[1].MinSize()
	setBounds(o[0], e, (barHigh-a.Height)/2, a.Width, a.Height)
	setBounds(o[1], s.Width-e-b.Width+10, (barHigh-b.Height)/2, b.Width, b.Height)
	setBounds(o[2], 0, barHigh-1, s.Width, 1)
}

func (l *barLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(600, barHigh) }
