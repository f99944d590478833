package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/theme"
)

// ButtonKind is how loud a button is.
type ButtonKind uint8

const (
	Quiet   ButtonKind = iota // no ground until the pointer is over it
	Plain                     // a ground
	Primary                   // the one thing to do next
	Toggle                    // on or off: on has the ground of what is chosen
)

// Button does one thing, by pointer, Return or space.
type Button struct {
	Pressable
	Kind      ButtonKind
	Icon      string // a mark; empty for none
	Label     string
	IconColor fyne.ThemeColorName // empty: as the label
	height    float32
	On        bool     // of a toggle
	shorter   []string // other forms of the label, for where there is less room

	ground, veil *canvas.Rectangle
	mark         *Mark
	text         *Text
}

// NewButton makes a button; icon or label may be empty.
func NewButton(k ButtonKind, icon, label string, tap func()) *Button {
	b := &Button{
		Kind: k, Icon: icon, Label: label, height: 34, ground: NewBox(8), veil: NewBox(8),
		mark: NewMark("open", ColText, markSide), text: NewText("", SizeBody, ColText).Bold(),
	}
	b.OnTapped = tap
	b.Extend(b, nil)
	return b
}

// WithHeight sets another height than the usual one; it returns the button itself.
func (b *Button) WithHeight(h float32) *Button { b.height = h; return b }

// Shorter gives shorter forms of the label, the longest first; an empty one leaves the mark alone. A row
// without room takes them. It returns the button itself.
func (b *Button) Shorter(labels ...string) *Button { b.shorter = labels; return b }

// Forms is how many forms of the label there are, WidthOf how wide the button is with one of them.
func (b *Button) Forms() int { return 1 + len(b.shorter) }

// WidthOf is how wide the button is with one form of its label, numbered from 0.
func (b *Button) WidthOf(form int) float32 {
	icon, text, gap := b.parts(b.form(form))
	pad := float32(13)
	if text == 0 {
		pad = 8
	}
	return icon + text + gap + 2*pad
}

func (b *Button) form(i int) string {
	if i == 0 {
		return b.Label
	}
	return b.shorter[i-1]
}

// Set changes what the button says.
func (b *Button) Set(icon, label string) {
	if b.Icon != icon || b.Label != label {
		b.Icon, b.Label = icon, label
		b.Refresh()
	}
}

// SetKind changes how loud it is.
func (b *Button) SetKind(k ButtonKind) { change(&b.Kind, k, b.Refresh) }

// SetOn switches a toggle.
func (b *Button) SetOn(on bool) { change(&b.On, on, b.Refresh) }

// Apply, Place, Least and Parts implement Drawn.
func (b *Button) Apply() {
	fill, fg := fyne.ThemeColorName(""), ColText
	switch {
	case b.Disabled() && b.Kind != Quiet:
		fill, fg = theme.ColorNameDisabledButton, theme.ColorNameDisabled
	case b.Disabled():
		fg = theme.ColorNameDisabled
	case b.Kind == Primary:
		fill, fg = ColAccent, colOnFill
	case b.Kind == Plain:
		fill = theme.ColorNameButton
	case b.Kind == Toggle && b.On:
		fill = colChip
	case b.Kind == Toggle: // filled: the edge of a border around nothing is drawn dark
		fill, fg = ColGround, ColMuted
	}
	SetFill(b.ground, fill)
	border := float32(0)
	if b.Kind == Toggle {
		border = 1
	}
	SetStroke(b.ground, ColLine, border)
	SetFill(b.veil, b.Veil())
	ring := ColAccent
	if b.Kind == Primary {
		ring = ColText
	}
	SetStroke(b.veil, ring, b.Ring())
	b.text.Set(b.fitting(b.Size().Width), fg)
	tint := fg
	if b.IconColor != "" && !b.Disabled() && (b.Kind != Toggle || b.On) {
		tint = b.IconColor
	}
	if b.Icon != "" {
		b.mark.Set(b.Icon, tint)
	}
	SetVisible(b.mark, b.Icon != "")
}

// fitting is the longest form of the label that fits into a width.
func (b *Button) fitting(w float32) string {
	for form := range b.Forms() - 1 {
		if w <= 0 || b.WidthOf(form) <= w+0.5 {
			return b.form(form)
		}
	}
	return b.form(b.Forms() - 1)
}

// parts returns the widths of the mark, of a label, and of the gap between them.
func (b *Button) parts(label string) (icon, text, gap float32) {
	if b.Icon != "" {
		icon = markSide
	}
	if label != "" {
		text = Measure(label, SizeBody, fyne.TextStyle{Bold: true}).Width
	}
	if icon > 0 && text > 0 {
		gap = 7
	}
	return icon, text, gap
}

const markSide = 18

func (b *Button) Place(s fyne.Size) {
	SetBounds(b.ground, 0, 0, s.Width, s.Height)
	SetBounds(b.veil, 0, 0, s.Width, s.Height)
	b.text.Set(b.fitting(s.Width), "")
	icon, text, gap := b.parts(b.text.Text)
	x := (s.Width - icon - text - gap) / 2
	SetBounds(b.mark, x, (s.Height-markSide)/2, markSide, markSide)
	h := b.text.MinSize().Height
	SetBounds(b.text, x+icon+gap, (s.Height-h)/2, text, h)
}

func (b *Button) Least() fyne.Size { return fyne.NewSize(b.WidthOf(0), b.height) }

func (b *Button) Parts() []fyne.CanvasObject {
	return []fyne.CanvasObject{b.ground, b.veil, b.mark, b.text}
}
