package gui

import (
	"path/filepath"

	"fyne.io/fyne/v2"

	"loadline/gui/input"
	"loadline/gui/kit"
)

// picker is where a folder or a file is chosen: typed, picked in a dialog, or dropped.
type picker struct {
	box     *kit.Surface
	caption *kit.Text
	facts   *kit.Text
	path    *kit.Field
	choose  *kit.Button
	row     *fyne.Container // field and buttons
	problem *kit.Paragraph
	offers  *fyne.Container // what is mounted, while nothing is chosen
	icon    string
	offered []Offer

	changed func(path string)
}

func newPicker(icon, caption, hint string, choose func()) *picker {
	w := &picker{
		caption: kit.NewText(caption, kit.SizeBody, kit.ColText).Bold(),
		facts:   kit.NewText("", kit.SizeSmall+1, kit.ColMuted).Truncated().Right(),
		path:    kit.NewField(hint),
		choose:  kit.NewButton(kit.Plain, "folder", "Choose…", choose).Shorter(""),
		problem: newProblem(),
		offers:  kit.NewFlow(8),
		icon:    icon,
	}
	w.offers.Hide()
	w.path.TextStyle = fyne.TextStyle{Monospace: true}
	w.path.OnChanged = func(s string) {
		w.showOffers()
		if w.changed != nil {
			w.changed(input.Path(s))
		}
	}
	top := kit.NewStretch(8, 2, kit.NewMark(icon, kit.ColAccent, 18), w.caption, w.facts)
	w.row = kit.NewStretchLeast(8, 0, 250, w.path.Framed(), w.choose)
	w.box = kit.NewSurface("", "", kit.NewColumn(5, kit.NewSized(0, 20, top), w.row, w.offers, w.problem)).Pad(12, 9)
	w.box.StrokeWidth = 2
	return w
}

// get returns the chosen path as raw bytes.
func (w *picker) get() string { return input.Path(w.path.Text) }

func (w *picker) put(path string) {
	if w.get() != path {
		w.path.SetText(input.ShowPath(path))
		w.path.ToEnd()
	}
}

// mostOffered is how many places are offered at most: more would push the cards out of view.
const mostOffered = 4

// offer takes over what is mounted, and tells whether the picker wants another height.
func (w *picker) offer(list []Offer) bool {
	w.offered = list
	w.offers.Objects = nil
	for _, o := range list[:min(len(list), mostOffered)] {
		w.offers.Objects = append(w.offers.Objects, kit.NewButton(kit.Plain, w.icon, o.label(), func() { w.put(o.Path) }).WithHeight(30))
	}
	return w.showOffers()
}

// showOffers shows the offers while nothing is chosen, and tells whether that has changed anything.
func (w *picker) showOffers() bool {
	on := len(w.offered) > 0 && w.get() == "" && !w.path.Disabled()
	changed := on || w.offers.Visible()
	kit.SetVisible(w.offers, on)
	return changed
}

// start is where a dialog begins: at what is chosen, or at the first place that could be.
func (w *picker) start() string {
	if p := w.get(); p != "" || len(w.offered) == 0 {
		return p
	}
	return filepath.Dir(w.offered[0].Path)
}

// say shows facts or, where there is one, a problem with what to do about it.
func (w *picker) say(facts, problem string) {
	w.facts.Set(facts, "")
	w.problem.Say(problem)
}

// wrong reports whether a problem is shown.
func (w *picker) wrong() bool { return w.problem.Visible() }

// lock keeps a running check's input as it is.
func (w *picker) lock(on bool) {
	kit.SetEnabled(w.path, !on)
	kit.SetEnabled(w.choose, !on)
}

// covers reports whether a point of the window is on the picker.
func (w *picker) covers(at fyne.Position) bool {
	if !w.box.Visible() {
		return false
	}
	p := fyne.CurrentApp().Driver().AbsolutePositionForObject(w.box)
	s := w.box.Size()
	return at.X >= p.X && at.Y >= p.Y && at.X < p.X+s.Width && at.Y < p.Y+s.Height
}
