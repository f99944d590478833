package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/theme"
)

// Fold is one line that stands for more: it says what is set, and opens it when it is pressed.
type Fold struct {
	Pressable
	icon   string
	panel  bool // has a ground and a border of its own
	height float32

	ground, veil *canvas.Rectangle
	mark         *Mark
	text, action *Text
}

// NewFold makes a line; action says what a press does. Icon may be empty.
func NewFold(icon, action string, tap func()) *Fold {
	f := &Fold{
		icon: icon, height: 36, ground: NewBox(radius), veil: NewBox(8), mark: NewMark("open", ColAccent, markSide),
		text: NewText("", SizeBody, ColText).Truncated(), action: NewText(action, SizeBody, ColAccent).Bold(),
	}
	f.OnTapped = tap
	f.Extend(f, nil)
	return f
}

// Panel gives the line a ground and a border; it returns the line itself.
func (f *Fold) Panel() *Fold { f.panel, f.height = true, 42; return f }

// Text is what the line says.
func (f *Fold) Text() string { return f.text.Text }

// Set changes what the line says, and what a press does.
func (f *Fold) Set(text, action string) {
	if f.text.Text != text || f.action.Text != action {
		f.text.Text, f.action.Text = text, action
		f.Refresh()
	}
}

// Apply, Place, Least and Parts implement Drawn.
func (f *Fold) Apply() {
	ground, border := fyne.ThemeColorName(""), float32(0)
	if f.panel {
		ground, border = ColSurface, 1
	}
	SetFill(f.ground, ground)
	SetStroke(f.ground, ColLine, border)
	SetFill(f.veil, f.Veil())
	SetStroke(f.veil, ColAccent, f.Ring())
	SetVisible(f.mark, f.icon != "")
	if f.icon != "" {
		f.mark.Set(f.icon, ColAccent)
	}
	f.action.Color = ColAccent
	if f.Disabled() {
		f.action.Color = theme.ColorNameDisabled
	}
}

func (f *Fold) Place(s fyne.Size) {
	const pad = 12
	SetBounds(f.ground, 0, 0, s.Width, s.Height)
	SetBounds(f.veil, 2, 2, s.Width-4, s.Height-4)
	x := float32(pad)
	if f.icon != "" {
		SetBounds(f.mark, x, (s.Height-markSide)/2, markSide, markSide)
		x += markSide + 9
	}
	w := f.action.MinSize().Width
	SetBounds(f.action, s.Width-pad-w, 0, w, s.Height)
	SetBounds(f.text, x, 0, max(s.Width-pad-w-14-x, 0), s.Height)
}

func (f *Fold) Least() fyne.Size { return fyne.NewSize(160, f.height) }

func (f *Fold) Parts() []fyne.CanvasObject {
	return []fyne.CanvasObject{f.ground, f.mark, f.text, f.action, f.veil}
}
