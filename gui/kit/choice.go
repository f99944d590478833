package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// Choice is one of several things of which one is shown beside them: a title, a line about it, and perhaps
// a bar that says how full it is.
type Choice struct {
	Pressable
	Title, Aside, Says string
	Badge              Badge       // before the title; no mark for none
	Bar                *Fill       // nil for none
	OnStep             func(d int) // up and down

	chosen             bool
	ground, veil       *canvas.Rectangle
	bed, fill, line    *canvas.Rectangle
	mark               *Mark
	title, aside, says *Text
}

// Fill is how full something is: parts of the whole from 0 to 1, the load line among them.
type Fill struct {
	Part, Line float64
	Color      fyne.ThemeColorName
}

// NewChoice makes a choice; tap is called when it is pressed.
func NewChoice(title string, tap func()) *Choice {
	c := &Choice{
		Title: title, ground: NewBox(8), veil: NewBox(8), bed: NewBox(4), fill: NewBox(4), line: NewBox(2),
		mark: NewMark("note", ColIdle, 16), title: NewText(title, SizeBody, ColText).Bold().Truncated(),
		aside: NewText("", SizeBody, ColText), says: NewText("", SizeSmall+1, ColMuted).Truncated(),
	}
	c.OnTapped = tap
	c.Extend(c, c.Apply)
	return c
}

// SetChosen marks it as the one that is shown.
func (c *Choice) SetChosen(on bool) { change(&c.chosen, on, c.Apply) }

// Chosen reports whether it is the one that is shown.
func (c *Choice) Chosen() bool { return c.chosen }

// TypedKey chooses by Return and space, and steps by the arrows.
func (c *Choice) TypedKey(e *fyne.KeyEvent) {
	switch {
	case e.Name == fyne.KeyDown && c.OnStep != nil:
		c.OnStep(1)
	case e.Name == fyne.KeyUp && c.OnStep != nil:
		c.OnStep(-1)
	default:
		c.Pressable.TypedKey(e)
	}
}

const (
	choicePad  = 12
	choiceLine = 20
	choiceBar  = 10
)

// HeightFor is the height that it wants.
func (c *Choice) HeightFor(float32) float32 {
	if c.Bar == nil {
		return 2*choiceLine + 16
	}
	return 2*choiceLine + choiceBar + 26
}

// Apply, Place, Least and Parts implement Drawn.
func (c *Choice) Apply() {
	ground, over := fyne.ThemeColorName(""), c.Veil()
	if c.chosen {
		ground, over = colChip, ""
	}
	SetFill(c.ground, ground)
	SetFill(c.veil, over)
	SetStroke(c.veil, ColAccent, c.Ring())
	SetVisible(c.mark, c.Badge.Mark != "")
	if c.Badge.Mark != "" {
		c.mark.Set(c.Badge.Mark, c.Badge.Color)
	}
	c.title.Set(c.Title, ColText)
	c.aside.Set(c.Aside, ColText)
	c.says.Set(c.Says, ColMuted)
	for _, b := range []*canvas.Rectangle{c.bed, c.fill, c.line} {
		SetVisible(b, c.Bar != nil)
	}
	if c.Bar != nil {
		SetFill(c.bed, ColInset)
		SetStroke(c.bed, ColLine, 1)
		SetFill(c.fill, c.Bar.Color)
		SetFill(c.line, ColMark)
	}
}

func (c *Choice) Place(s fyne.Size) {
	SetBounds(c.ground, 0, 0, s.Width, s.Height)
	SetBounds(c.veil, 2, 2, s.Width-4, s.Height-4) // a page would cut an edge that stands out
	x, y, w := float32(choicePad), float32(8), s.Width-2*choicePad
	if c.Badge.Mark != "" {
		SetBounds(c.mark, x, y+2, 16, 16)
		x += 24
	}
	aside := c.aside.MinSize().Width
	SetBounds(c.aside, s.Width-choicePad-aside, y, aside, choiceLine)
	SetBounds(c.title, x, y, max(s.Width-choicePad-aside-8-x, 0), choiceLine)
	y += choiceLine
	if b := c.Bar; b != nil {
		y += 6
		SetBounds(c.bed, choicePad, y, w, choiceBar)
		part := float32(0)
		if b.Part > 0 {
			part = max(w*float32(min(b.Part, 1)), 4)
		}
		SetBounds(c.fill, choicePad, y, part, choiceBar)
		SetBounds(c.line, choicePad+w*float32(min(max(b.Line, 0), 1))-2, y-3, 4, choiceBar+6)
		y += choiceBar + 4
	}
	SetBounds(c.says, choicePad, y, w, choiceLine)
}

func (c *Choice) Least() fyne.Size { return fyne.NewSize(160, c.HeightFor(0)) }

func (c *Choice) Parts() []fyne.CanvasObject {
	return []fyne.CanvasObject{c.ground, c.bed, c.fill, c.line, c.mark, c.title, c.aside, c.says, c.veil}
}
