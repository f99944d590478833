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

	chosen bool
	r      *choiceRenderer
}

// Fill is how full something is: parts of the whole from 0 to 1, the load line among them.
type Fill struct {
	Part, Line float64
	Color      fyne.ThemeColorName
}

// NewChoice makes a choice; tap is called when it is pressed.
func NewChoice(title string, tap func()) *Choice {
	c := &Choice{Title: title}
	c.OnTapped = tap
	c.Extend(c, c.update)
	return c
}

// SetChosen marks it as the one that is shown.
func (c *Choice) SetChosen(on bool) {
	if c.chosen != on {
		c.chosen = on
		c.update()
	}
}

// Chosen reports whether it is the one that is shown.
func (c *Choice) Chosen() bool { return c.chosen }

func (c *Choice) update() {
	if c.r != nil {
		c.r.apply()
	}
}

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

// CreateRenderer implements fyne.Widget.
func (c *Choice) CreateRenderer() fyne.WidgetRenderer {
	r := &choiceRenderer{
		c: c, ground: NewBox(8), veil: NewBox(8),
		bed: NewBox(4), fill: NewBox(4), line: NewBox(2),
		mark: NewMark("note", ColIdle, 16), title: NewText(c.Title, SizeBody, ColText).Bold().Truncated(),
		aside: NewText("", SizeBody, ColText), says: NewText("", SizeSmall+1, ColMuted).Truncated(),
	}
	c.r = r
	r.apply()
	return r
}

type choiceRenderer struct {
	c                  *Choice
	ground, veil       *canvas.Rectangle
	bed, fill, line    *canvas.Rectangle
	mark               *Mark
	title, aside, says *Text
}

func (r *choiceRenderer) apply() {
	c := r.c
	ground, over := fyne.ThemeColorName(""), c.Veil()
	if c.chosen {
		ground, over = colChip, ""
	}
	SetFill(r.ground, ground)
	SetFill(r.veil, over)
	SetStroke(r.veil, ColAccent, c.Ring())
	SetVisible(r.mark, c.Badge.Mark != "")
	if c.Badge.Mark != "" {
		r.mark.Set(c.Badge.Mark, c.Badge.Color)
	}
	r.title.Set(c.Title, ColText)
	r.aside.Set(c.Aside, ColText)
	r.says.Set(c.Says, ColMuted)
	for _, b := range []*canvas.Rectangle{r.bed, r.fill, r.line} {
		SetVisible(b, c.Bar != nil)
	}
	if c.Bar != nil {
		SetFill(r.bed, ColInset)
		SetStroke(r.bed, ColLine, 1)
		SetFill(r.fill, c.Bar.Color)
		SetFill(r.line, ColMark)
	}
}

func (r *choiceRenderer) Layout(s fyne.Size) {
	SetBounds(r.ground, 0, 0, s.Width, s.Height)
	SetBounds(r.veil, 2, 2, s.Width-4, s.Height-4) // a page would cut an edge that stands out
	x, y, w := float32(choicePad), float32(8), s.Width-2*choicePad
	if r.c.Badge.Mark != "" {
		SetBounds(r.mark, x, y+2, 16, 16)
		x += 24
	}
	aside := r.aside.MinSize().Width
	SetBounds(r.aside, s.Width-choicePad-aside, y, aside, choiceLine)
	SetBounds(r.title, x, y, max(s.Width-choicePad-aside-8-x, 0), choiceLine)
	y += choiceLine
	if b := r.c.Bar; b != nil {
		y += 6
		SetBounds(r.bed, choicePad, y, w, choiceBar)
		part := float32(0)
		if b.Part > 0 {
			part = max(w*float32(min(b.Part, 1)), 4)
		}
		SetBounds(r.fill, choicePad, y, part, choiceBar)
		SetBounds(r.line, choicePad+w*float32(min(max(b.Line, 0), 1))-2, y-3, 4, choiceBar+6)
		y += choiceBar + 4
	}
	SetBounds(r.says, choicePad, y, w, choiceLine)
}

func (r *choiceRenderer) MinSize() fyne.Size {
	return fyne.NewSize(160, r.c.HeightFor(0))
}

func (r *choiceRenderer) Refresh() {
	r.apply()
	r.Layout(r.c.Size())
	r.mark.Refresh()
	for _, t := range []*Text{r.title, r.aside, r.says} {
		t.Refresh()
	}
}

func (r *choiceRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.ground, r.bed, r.fill, r.line, r.mark, r.title, r.aside, r.says, r.veil}
}
func (r *choiceRenderer) Destroy() {}
