package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/theme"
)

// Fold is one line that stands for more: it says what is set, and opens it when it is pressed.
type Fold struct {
	Pressable
	icon         string
	text, action string
	panel        bool // has a ground and a border of its own
	height       float32
	r            *foldRenderer
}

// NewFold makes a line; action says what a press does. Icon may be empty.
func NewFold(icon, action string, tap func()) *Fold {
	f := &Fold{icon: icon, action: action, height: 36}
	f.OnTapped = tap
	f.Extend(f, nil)
	return f
}

// Panel gives the line a ground and a border; it returns the line itself.
func (f *Fold) Panel() *Fold { f.panel, f.height = true, 42; return f }

// Text is what the line says.
func (f *Fold) Text() string { return f.text }

// Set changes what the line says, and what a press does.
func (f *Fold) Set(text, action string) {
	if f.text != text || f.action != action {
		f.text, f.action = text, action
		f.Refresh()
	}
}

// CreateRenderer implements fyne.Widget.
func (f *Fold) CreateRenderer() fyne.WidgetRenderer {
	r := &foldRenderer{
		f: f, ground: NewBox(radius), veil: NewBox(8),
		mark: NewMark("open", ColAccent, markSide), text: NewText("", SizeBody, ColText).Truncated(),
		action: NewText("", SizeBody, ColAccent).Bold(),
	}
	f.r = r
	r.apply()
	return r
}

type foldRenderer struct {
	f            *Fold
	ground, veil *canvas.Rectangle
	mark         *Mark
	text, action *Text
}

func (r *foldRenderer) apply() {
	f := r.f
	ground, border := fyne.ThemeColorName(""), float32(0)
	if f.panel {
		ground, border = ColSurface, 1
	}
	SetFill(r.ground, ground)
	SetStroke(r.ground, ColLine, border)
	SetFill(r.veil, f.Veil())
	SetStroke(r.veil, ColAccent, f.Ring())
	SetVisible(r.mark, f.icon != "")
	if f.icon != "" {
		r.mark.Set(f.icon, ColAccent)
	}
	r.text.Set(f.text, ColText)
	c := ColAccent
	if f.Disabled() {
		c = theme.ColorNameDisabled
	}
	r.action.Set(f.action, c)
}

func (r *foldRenderer) Layout(s fyne.Size) {
	const pad = 12
	SetBounds(r.ground, 0, 0, s.Width, s.Height)
	SetBounds(r.veil, 2, 2, s.Width-4, s.Height-4)
	x := float32(pad)
	if r.f.icon != "" {
		SetBounds(r.mark, x, (s.Height-markSide)/2, markSide, markSide)
		x += markSide + 9
	}
	w := r.action.MinSize().Width
	SetBounds(r.action, s.Width-pad-w, 0, w, s.Height)
	SetBounds(r.text, x, 0, max(s.Width-pad-w-14-x, 0), s.Height)
}

func (r *foldRenderer) MinSize() fyne.Size { return fyne.NewSize(160, r.f.height) }

func (r *foldRenderer) Refresh() {
	r.apply()
	r.Layout(r.f.Size())
	r.text.Refresh()
	r.action.Refresh()
	r.mark.Refresh()
}

func (r *foldRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.ground, r.mark, r.text, r.action, r.veil}
}
func (r *foldRenderer) Destroy() {}
