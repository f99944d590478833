package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// picker is where a folder or a file is chosen: typed, picked in a dialog, or dropped.
type picker struct {
	box     *surface
	caption *textLine
	facts   *textLine
	path    *field
	choose  *button
	problem *paragraph
	inner   *fyne.Container

	changed func(path string)
}

func newPicker(icon, caption, hint string, choose func()) *picker {
	w := &picker{
		caption: newText(caption, sizeBody, colText).bold(),
		facts:   newText("", sizeSmall+1, colMuted).truncated().right(),
		path:    newField(hint),
		choose:  newButton(plain, "folder", "Choose…", choose),
		problem: newParagraph("", sizeSmall+1, colFail),
	}
	w.path.TextStyle = fyne.TextStyle{Monospace: true}
	w.path.OnChanged = func(s string) {
		if w.changed != nil {
			w.changed(typedPath(s))
		}
	}
	w.problem.Hide()
	top := newStretch(8, 2, newMark(icon, colAccent, 18), w.caption, w.facts)
	w.inner = newColumn(5, newSized(0, 20, top), container.New(&row{gap: 8, stretch: map[int]bool{0: true}}, w.path.framed(), w.choose), w.problem)
	w.box = newSurface("", "", w.inner).pad(12, 9)
	w.box.strokeWidth = 2
	return w
}

// get returns the chosen path as raw bytes.
func (w *picker) get() string { return typedPath(w.path.Text) }

// put writes a path.
func (w *picker) put(path string) {
	if w.get() != path {
		w.path.SetText(showPath(path))
		w.path.toEnd()
	}
}

// say shows facts or, where there is one, a problem with what to do about it.
func (w *picker) say(facts, problem string) {
	w.facts.set(facts, "")
	w.problem.set(problem, "")
	if problem == "" {
		w.problem.Hide()
	} else {
		w.problem.Show()
	}
}

// wrong reports whether a problem is shown.
func (w *picker) wrong() bool { return w.problem.Visible() }

// lock keeps a running check's input as it is.
func (w *picker) lock(on bool) {
	if on {
		w.path.Disable()
		w.choose.Disable()
	} else {
		w.path.Enable()
		w.choose.Enable()
	}
}

// covers reports whether a point of the window lies on the picker.
func (w *picker) covers(at fyne.Position) bool {
	if !w.box.Visible() {
		return false
	}
	p := fyne.CurrentApp().Driver().AbsolutePositionForObject(w.box)
	s := w.box.Size()
	return at.X >= p.X && at.Y >= p.Y && at.X < p.X+s.Width && at.Y < p.Y+s.Height
}

// setup shows where the bytes go: from left to right, with the options below.
type setup struct {
	box     *surface
	from    *picker
	to      *picker
	options *options
}

func newSetup(from, to *picker, o *options) *setup {
	r := &setup{from: from, to: to, options: o}
	places := container.New(&setupLayout{from: from, to: to}, from.box, newMark("onward", colMuted, 22), to.box)
	parts := []fyne.CanvasObject{places}
	if o != nil {
		parts = append(parts, newInset(12, 0, newRule()), o.box)
	}
	r.box = newSurface(colSurface, colLine, newColumn(4, parts...)).pad(4, 4)
	return r
}

// setupLayout: the two places beside each other; where it is narrow their buttons lose their words, so
// that the paths keep some room.
type setupLayout struct {
	from, to *picker
	width    float32
}

const setupNarrow = 760

func (l *setupLayout) side(w float32) float32 {
	if w != l.width {
		l.width = w
		label := "Choose…"
		if w < setupNarrow {
			label = ""
		}
		for _, x := range []*picker{l.from, l.to} {
			x.choose.set(x.choose.icon, label)
		}
	}
	return (w - 30) / 2
}

func (l *setupLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w := l.side(s.Width)
	setBounds(o[0], 0, 0, w, s.Height)
	setBounds(o[1], w+4, (heightOf(o[0], w)-22)/2, 22, 22)
	setBounds(o[2], w+30, 0, w, s.Height)
}

func (l *setupLayout) heightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(heightOf(o[0], l.side(w)), heightOf(o[2], l.side(w)))
}

func (*setupLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(560, max(o[0].MinSize().Height, o[2].MinSize().Height))
}
