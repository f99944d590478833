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

// Put puts a thing in its place.
type Put func(o fyne.CanvasObject, x, y, w, h float32)

// Arrangement is a layout that is told by one function: it puts things in their places in a room, and returns the
// height that they want at the width of it. Where only the height is wanted, the room has none and nothing is put.
type Arrangement func(o []fyne.CanvasObject, room fyne.Size, put Put) (height float32)

// arranged is the layout of an arrangement.
type arranged struct {
	Arrangement
	least func(o []fyne.CanvasObject) fyne.Size
}

// Arrange places things by an arrangement; least is the size that they need at least.
func Arrange(a Arrangement, least func([]fyne.CanvasObject) fyne.Size, o ...fyne.CanvasObject) *fyne.Container {
	return container.New(&arranged{a, least}, o...)
}

// Layout and HeightFor place things, and tell how high they want to be.
func (a Arrangement) Layout(o []fyne.CanvasObject, s fyne.Size) { a(o, s, SetBounds) }

func (a Arrangement) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return a(o, fyne.NewSize(w, 0), func(fyne.CanvasObject, float32, float32, float32, float32) {})
}

func (a *arranged) MinSize(o []fyne.CanvasObject) fyne.Size { return a.least(o) }

// AtLeast is a least size that does not depend on what is placed.
func AtLeast(w, h float32) func([]fyne.CanvasObject) fyne.Size {
	return func([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(w, h) }
}

// measured returns the sums of the least widths and heights of what is shown, with gaps between, and the largest.
func measured(o []fyne.CanvasObject, gap float32) (sum, most fyne.Size) {
	between := float32(0)
	for _, x := range o {
		if x.Visible() {
			m := x.MinSize()
			sum = sum.Add(m).AddWidthHeight(between, between)
			most = most.Max(m)
			between = gap
		}
	}
	return sum, most
}

// NewColumn stacks things from the top with a gap between them, each as wide as the column and as high as it wants.
// What wants no height gets no gap either.
func NewColumn(gap float32, o ...fyne.CanvasObject) *fyne.Container {
	return Arrange(func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		y := float32(0)
		for _, x := range o {
			if !x.Visible() {
				continue
			}
			h := HeightOf(x, room.Width)
			put(x, 0, y, room.Width, h)
			if h > 0 {
				y += h + gap
			}
		}
		return max(y-gap, 0)
	}, func(o []fyne.CanvasObject) fyne.Size {
		sum, most := measured(o, gap)
		return fyne.NewSize(most.Width, sum.Height)
	}, o...)
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
	return NewStretchLeast(gap, i, 24, o...)
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

func (r *row) arrange(o []fyne.CanvasObject, room fyne.Size, put Put) (height float32) {
	x := float32(0)
	for i, w := range r.widths(o, room.Width) {
		if !o[i].Visible() {
			continue
		}
		want := HeightOf(o[i], w)
		h := min(want, room.Height)
		put(o[i], x, (room.Height-h)/2, w, h)
		x += w + r.gap
		height = max(height, want)
	}
	return height
}

// Layout, HeightFor and MinSize make it a layout.
func (r *row) Layout(o []fyne.CanvasObject, s fyne.Size) { Arrangement(r.arrange).Layout(o, s) }

func (r *row) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return Arrangement(r.arrange).HeightFor(o, w)
}

func (r *row) MinSize(o []fyne.CanvasObject) fyne.Size {
	sum, most := measured(o, r.gap)
	return fyne.NewSize(sum.Width, most.Height)
}

// NewFlow puts things beside each other, on as many lines as they need.
func NewFlow(gap float32, o ...fyne.CanvasObject) *fyne.Container {
	var flow Arrangement = func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		var x, y, high float32
		for _, c := range o {
			if !c.Visible() {
				continue
			}
			s := c.MinSize()
			s.Width = min(s.Width, room.Width)
			if x > 0 && x+s.Width > room.Width {
				x, y, high = 0, y+high+gap, 0
			}
			put(c, x, y, s.Width, s.Height)
			x += s.Width + gap
			high = max(high, s.Height)
		}
		return y + high
	}
	return Arrange(flow, func(o []fyne.CanvasObject) fyne.Size { return fyne.NewSize(60, flow.HeightFor(o, 4000)) }, o...)
}

// NewStack lays things over each other: each has all the room.
func NewStack(o ...fyne.CanvasObject) *fyne.Container {
	least := func(o []fyne.CanvasObject) (s fyne.Size) {
		for _, x := range o {
			s = s.Max(x.MinSize())
		}
		return s
	}
	return Arrange(func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		for _, x := range o {
			put(x, 0, 0, room.Width, room.Height)
		}
		return least(o).Height
	}, least, o...)
}

// NewInset keeps a distance to the left and right (x), above and below (y).
func NewInset(x, y float32, o fyne.CanvasObject) *fyne.Container {
	return Arrange(func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		put(o[0], x, y, room.Width-2*x, room.Height-2*y)
		return HeightOf(o[0], room.Width-2*x) + 2*y
	}, func(o []fyne.CanvasObject) fyne.Size { return o[0].MinSize().AddWidthHeight(2*x, 2*y) }, o)
}

// NewSized gives a thing a least width and height; a zero leaves that side alone.
func NewSized(w, h float32, o fyne.CanvasObject) *fyne.Container {
	return Arrange(func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		want := max(HeightOf(o[0], room.Width), h)
		high := min(want, room.Height)
		put(o[0], 0, (room.Height-high)/2, room.Width, high)
		return want
	}, func(o []fyne.CanvasObject) fyne.Size { return o[0].MinSize().Max(fyne.NewSize(w, h)) }, o)
}

const pairWide = 640

// NewSideBySide puts a and b beside each other with a gap, or one under the other where it is narrow.
func NewSideBySide(gap float32, a, b fyne.CanvasObject) *fyne.Container {
	return Arrange(func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		w := room.Width
		if w >= pairWide {
			w = (w - gap) / 2
		}
		first, second := HeightOf(o[0], w), HeightOf(o[1], w)
		put(o[0], 0, 0, w, first)
		if room.Width < pairWide {
			put(o[1], 0, first+GapMid, w, second)
			return first + GapMid + second
		}
		put(o[1], w+gap, 0, w, second)
		return max(first, second)
	}, func(o []fyne.CanvasObject) fyne.Size { return o[0].MinSize().Max(o[1].MinSize()) }, a, b)
}

// NewHanging puts a mark to the left of a text; all lines of it begin at the indent.
func NewHanging(indent float32, mark, text fyne.CanvasObject) *fyne.Container {
	return Arrange(func(o []fyne.CanvasObject, room fyne.Size, put Put) float32 {
		m := o[0].MinSize()
		put(o[0], 0, 0, m.Width, m.Height)
		put(o[1], indent, 0, room.Width-indent, room.Height)
		return max(m.Height, HeightOf(o[1], room.Width-indent))
	}, func(o []fyne.CanvasObject) fyne.Size {
		a, b := o[0].MinSize(), o[1].MinSize()
		return fyne.NewSize(indent+b.Width, max(a.Height, b.Height))
	}, mark, text)
}
