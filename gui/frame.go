package gui

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/widget"

	"loadline/checks"
)

// background fills the window with the theme's background.
type background struct {
	widget.BaseWidget
	rect *canvas.Rectangle
}

func newBackground() *background {
	g := &background{}
	g.ExtendBaseWidget(g)
	return g
}

// CreateRenderer implements fyne.Widget.
func (g *background) CreateRenderer() fyne.WidgetRenderer {
	g.rect = canvas.NewRectangle(color.Transparent)
	r := &backgroundRenderer{g}
	r.Refresh()
	return r
}

type backgroundRenderer struct{ g *background }

func (r *backgroundRenderer) Layout(s fyne.Size)           { r.g.rect.Resize(s) }
func (r *backgroundRenderer) MinSize() fyne.Size           { return fyne.NewSize(1, 1) }
func (r *backgroundRenderer) Refresh()                     { r.g.rect.FillColor = paint(colGround); r.g.rect.Refresh() }
func (r *backgroundRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.g.rect} }
func (r *backgroundRenderer) Destroy()                     {}

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

func able(b *button, on bool) {
	if on {
		b.Enable()
	} else {
		b.Disable()
	}
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

// notice says one thing at the foot of the window until it is shut or something else is said.
type notice struct {
	box  *surface
	mark *mark
	text *paragraph
	shut *button
	more *button
}

func newNotice() *notice {
	n := &notice{mark: newMark("note", colAccent, 18), text: newParagraph("", sizeBody, colText)}
	n.shut = newButton(quiet, "", "Close", func() { n.hide() }).high(28)
	n.more = newButton(plain, "", "", nil).high(28)
	n.more.Hide()
	n.box = newSurface(colInset, colLine, container.New(&row{gap: 10, stretch: map[int]bool{1: true}}, n.mark, n.text, n.more, n.shut)).pad(14, 9)
	n.box.Hide()
	return n
}

func (n *notice) say(s checks.Status, text string) {
	l := statusBadge(s)
	if s == checks.Waiting {
		l = badge{"note", colAccent}
	}
	n.mark.set(l.mark, l.color)
	n.text.set(text, "")
	n.more.Hide()
	n.box.Show()
	n.relayout()
}

// offer adds one thing to do to what is said.
func (n *notice) offer(label string, do func()) {
	n.more.set("", label)
	n.more.tap = do
	n.more.Show()
	n.relayout()
}

func (n *notice) relayout() {
	if c := fyne.CurrentApp().Driver().CanvasForObject(n.box); c != nil && c.Content() != nil {
		relayout(c.Content())
		c.Content().Refresh()
	}
}

func (n *notice) hide() {
	if n.box.Visible() {
		n.box.Hide()
		n.relayout()
	}
}
