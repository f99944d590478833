package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// tall is a thing whose height follows from its width.
type tall interface {
	fyne.CanvasObject
	HeightFor(w float32) float32
}

// HeightOf returns the height that a thing wants at a width.
func HeightOf(o fyne.CanvasObject, w float32) float32 {
	switch x := o.(type) {
	case tall:
		return x.HeightFor(w)
	case *fyne.Container:
		if l, ok := x.Layout.(interface {
			HeightFor([]fyne.CanvasObject, float32) float32
		}); ok {
			return l.HeightFor(x.Objects, w)
		}
	}
	return o.MinSize().Height
}

// column stacks things from the top, each as wide as the column and as high as it wants. What wants
// no height gets no gap either.
type column struct{ gap float32 }

// NewColumn stacks things with a gap between them.
func NewColumn(gap float32, o ...fyne.CanvasObject) *fyne.Container {
	return container.New(&column{gap}, o...)
}

func (c *column) Layout(o []fyne.CanvasObject, s fyne.Size) {
	y := float32(0)
	for _, x := range o {
		if !x.Visible() {
			continue
		}
		h := HeightOf(x, s.Width)
		SetBounds(x, 0, y, s.Width, h)
		if h > 0 {
			y += h + c.gap
		}
	}
}

func (c *column) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	h, n := float32(0), 0
	for _, x := range o {
		if !x.Visible() {
			continue
		}
		if hx := HeightOf(x, w); hx > 0 {
			h += hx
			n++
		}
	}
	return h + c.gap*float32(max(n-1, 0))
}

func (c *column) MinSize(o []fyne.CanvasObject) fyne.Size {
	var s fyne.Size
	n := 0
	for _, x := range o {
		if x.Visible() {
			m := x.MinSize()
			s.Width = max(s.Width, m.Width)
			s.Height += m.Height
			n++
		}
	}
	s.Height += c.gap * float32(max(n-1, 0))
	return s
}

// row puts things beside each other, centred, each at its own width; one of them may take what is
// left. Where there is too little room, those that have a shorter form take it.
type row struct {
	gap     float32
	stretch int     // index of what takes the rest; -1 for none
	least   float32 // what must be left for it before others take a shorter form
}

// shrinking has forms of less and less width, numbered from 0.
type shrinking interface {
	Forms() int
	WidthOf(form int) float32
}

// NewRow makes a row in which nothing stretches.
func NewRow(gap float32, o ...fyne.CanvasObject) *fyne.Container {
	return container.New(&row{gap: gap, stretch: -1}, o...)
}

// NewStretch makes a row in which the thing at index i takes what is left.
func NewStretch(gap float32, i int, o ...fyne.CanvasObject) *fyne.Container {
	return container.New(&row{gap: gap, stretch: i, least: 24}, o...)
}

// NewStretchLeast is NewStretch, where others take a shorter form so that at least so much is left.
func NewStretchLeast(gap float32, i int, least float32, o ...fyne.CanvasObject) *fyne.Container {
	return container.New(&row{gap: gap, stretch: i, least: least}, o...)
}

// RowWidth returns the width of a row made by NewRow with its things in a form.
func RowWidth(c *fyne.Container, form int) float32 {
	return c.Layout.(*row).width(c.Objects, form)
}

func widthOf(o fyne.CanvasObject, form int) float32 {
	if s, ok := o.(shrinking); ok {
		return s.WidthOf(min(form, s.Forms()-1))
	}
	return o.MinSize().Width
}

// width is what the row wants with its things in a form.
func (r *row) width(o []fyne.CanvasObject, form int) float32 {
	w, shown := float32(0), 0
	for i, x := range o {
		if !x.Visible() {
			continue
		}
		shown++
		if i == r.stretch {
			w += r.least
		} else {
			w += widthOf(x, form)
		}
	}
	return w + r.gap*float32(max(shown-1, 0))
}

func (r *row) widths(o []fyne.CanvasObject, w float32) []float32 {
	form, forms := 0, 1
	for _, x := range o {
		if s, ok := x.(shrinking); ok && x.Visible() {
			forms = max(forms, s.Forms())
		}
	}
	for form < forms-1 && r.width(o, form) > w+0.5 {
		form++
	}
	ws := make([]float32, len(o))
	left := w - r.width(o, form) + r.least
	for i, x := range o {
		switch {
		case i == r.stretch:
			ws[i] = max(left, 0)
		case x.Visible():
			ws[i] = widthOf(x, form)
		}
	}
	return ws
}

func (r *row) Layout(o []fyne.CanvasObject, s fyne.Size) {
	x := float32(0)
	for i, w := range r.widths(o, s.Width) {
		if !o[i].Visible() {
			continue
		}
		h := min(HeightOf(o[i], w), s.Height)
		SetBounds(o[i], x, (s.Height-h)/2, w, h)
		x += w + r.gap
	}
}

func (r *row) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	h := float32(0)
	for i, wi := range r.widths(o, w) {
		if o[i].Visible() {
			h = max(h, HeightOf(o[i], wi))
		}
	}
	return h
}

func (r *row) MinSize(o []fyne.CanvasObject) fyne.Size {
	var s fyne.Size
	n := 0
	for _, x := range o {
		if x.Visible() {
			m := x.MinSize()
			s.Width += m.Width
			s.Height = max(s.Height, m.Height)
			n++
		}
	}
	s.Width += r.gap * float32(max(n-1, 0))
	return s
}

// flow puts things beside each other, and on further lines where there is no room.
type flow struct{ gap float32 }

// NewFlow lets things flow over as many lines as they need.
func NewFlow(gap float32, o ...fyne.CanvasObject) *fyne.Container {
	return container.New(&flow{gap}, o...)
}

// each visits everything with its place at a width, and returns the height of all.
func (f *flow) each(o []fyne.CanvasObject, w float32, visit func(x fyne.CanvasObject, at fyne.Position, s fyne.Size)) float32 {
	var x, y, high float32
	for _, c := range o {
		if !c.Visible() {
			continue
		}
		s := c.MinSize()
		s.Width = min(s.Width, w)
		if x > 0 && x+s.Width > w {
			x, y, high = 0, y+high+f.gap, 0
		}
		visit(c, fyne.NewPos(x, y), s)
		x += s.Width + f.gap
		high = max(high, s.Height)
	}
	return y + high
}

func (f *flow) Layout(o []fyne.CanvasObject, s fyne.Size) {
	f.each(o, s.Width, func(c fyne.CanvasObject, at fyne.Position, size fyne.Size) {
		SetBounds(c, at.X, at.Y, size.Width, size.Height)
	})
}

func (f *flow) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return f.each(o, w, func(fyne.CanvasObject, fyne.Position, fyne.Size) {})
}

func (f *flow) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(60, f.HeightFor(o, 4000))
}

// stack gives everything in it all the room.
type stack struct{}

// NewStack lays things over each other.
func NewStack(o ...fyne.CanvasObject) *fyne.Container { return container.New(stack{}, o...) }

func (stack) Layout(o []fyne.CanvasObject, s fyne.Size) {
	for _, x := range o {
		SetBounds(x, 0, 0, s.Width, s.Height)
	}
}

func (stack) MinSize(o []fyne.CanvasObject) fyne.Size {
	var s fyne.Size
	for _, x := range o {
		s = s.Max(x.MinSize())
	}
	return s
}

// inset keeps a distance around one thing.
type inset struct{ left, top, right, bottom float32 }

// NewInset keeps a distance to the left and right (x), above and below (y).
func NewInset(x, y float32, o fyne.CanvasObject) *fyne.Container {
	return container.New(&inset{x, y, x, y}, o)
}

func (p *inset) Layout(o []fyne.CanvasObject, s fyne.Size) {
	SetBounds(o[0], p.left, p.top, s.Width-p.left-p.right, s.Height-p.top-p.bottom)
}

func (p *inset) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return HeightOf(o[0], w-p.left-p.right) + p.top + p.bottom
}

func (p *inset) MinSize(o []fyne.CanvasObject) fyne.Size {
	return o[0].MinSize().AddWidthHeight(p.left+p.right, p.top+p.bottom)
}

// sized gives one thing a least size; a zero leaves that side alone.
type sized struct{ w, h float32 }

// NewSized gives a thing a least width and height.
func NewSized(w, h float32, o fyne.CanvasObject) *fyne.Container {
	return container.New(&sized{w, h}, o)
}

func (f *sized) Layout(o []fyne.CanvasObject, s fyne.Size) {
	h := min(max(HeightOf(o[0], s.Width), f.h), s.Height)
	SetBounds(o[0], 0, (s.Height-h)/2, s.Width, h)
}

func (f *sized) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(f.h, HeightOf(o[0], w))
}

func (f *sized) MinSize(o []fyne.CanvasObject) fyne.Size {
	return o[0].MinSize().Max(fyne.NewSize(f.w, f.h))
}

// sideBySide puts two things beside each other, or one under the other where it is narrow.
type sideBySide struct{ gap float32 }

const pairWide = 640

// NewSideBySide puts a and b beside each other with a gap.
func NewSideBySide(gap float32, a, b fyne.CanvasObject) *fyne.Container {
	return container.New(&sideBySide{gap}, a, b)
}

func (p *sideBySide) half(w float32) float32 { return (w - p.gap) / 2 }

func (p *sideBySide) Layout(o []fyne.CanvasObject, s fyne.Size) {
	if s.Width < pairWide {
		h := HeightOf(o[0], s.Width)
		SetBounds(o[0], 0, 0, s.Width, h)
		SetBounds(o[1], 0, h+GapMid, s.Width, HeightOf(o[1], s.Width))
		return
	}
	w := p.half(s.Width)
	SetBounds(o[0], 0, 0, w, HeightOf(o[0], w))
	SetBounds(o[1], w+p.gap, 0, w, HeightOf(o[1], w))
}

func (p *sideBySide) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	if w < pairWide {
		return HeightOf(o[0], w) + GapMid + HeightOf(o[1], w)
	}
	h := p.half(w)
	return max(HeightOf(o[0], h), HeightOf(o[1], h))
}

func (p *sideBySide) MinSize(o []fyne.CanvasObject) fyne.Size {
	a, b := o[0].MinSize(), o[1].MinSize()
	return fyne.NewSize(max(a.Width, b.Width), max(a.Height, b.Height))
}

// hanging puts a mark to the left of the first line of a text.
type hanging struct{ indent float32 }

// NewHanging puts a mark to the left of a text; all lines of it begin at the indent.
func NewHanging(indent float32, mark, text fyne.CanvasObject) *fyne.Container {
	return container.New(&hanging{indent}, mark, text)
}

func (h *hanging) Layout(o []fyne.CanvasObject, s fyne.Size) {
	m := o[0].MinSize()
	SetBounds(o[0], 0, 0, m.Width, m.Height)
	SetBounds(o[1], h.indent, 0, s.Width-h.indent, s.Height)
}

func (h *hanging) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(o[0].MinSize().Height, HeightOf(o[1], w-h.indent))
}

func (h *hanging) MinSize(o []fyne.CanvasObject) fyne.Size {
	a, b := o[0].MinSize(), o[1].MinSize()
	return fyne.NewSize(h.indent+b.Width, max(a.Height, b.Height))
}
