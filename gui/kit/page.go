package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// Page scrolls one thing whose height follows from its width, centred and never too wide.
type Page struct {
	Scroll  *container.Scroll
	Content *fyne.Container
	layout  *pageLayout
	slot    *fyne.Container // above the thing: empty but on low windows
}

// NewPage makes a page that scrolls one thing.
func NewPage(o fyne.CanvasObject) *Page {
	p := &Page{layout: &pageLayout{most: PageMost}, slot: NewColumn(0)}
	p.Content = container.New(p.layout, NewColumn(GapMid, p.slot, o))
	p.Scroll = container.NewVScroll(p.Content)
	p.layout.page = p
	return p
}

// NewBarePage makes a page without space beside and below, for a sheet.
func NewBarePage(o fyne.CanvasObject) *Page {
	p := NewPage(o)
	p.layout.bare = true
	return p
}

// SetAbove puts things above the page's own, which then scroll with it; none takes them away.
func (p *Page) SetAbove(o ...fyne.CanvasObject) {
	p.slot.Objects = o
	p.layout.w = 0
}

// Reflow is called when heights have changed.
func (p *Page) Reflow() {
	w := p.Content.Size().Width
	if w <= 0 {
		return
	}
	size := fyne.NewSize(w, max(p.layout.height(p.Content.Objects[0], w), p.Scroll.Size().Height))
	if size == p.Content.Size() {
		p.layout.Layout(p.Content.Objects, size)
	} else {
		p.Content.Resize(size)
	}
	// Columns inside lay out only when their size changes, so those that keep it are told.
	Relayout(p.Content.Objects[0])
	p.Scroll.Refresh()
}

// Relayout lays out containers again, from the top down.
func Relayout(o fyne.CanvasObject) {
	switch x := o.(type) {
	case *fyne.Container:
		if x.Layout != nil {
			x.Layout.Layout(x.Objects, x.Size())
		}
		for _, c := range x.Objects {
			Relayout(c)
		}
	case Parent:
		x.Arrange()
		for _, c := range x.Children() {
			Relayout(c)
		}
	}
}

// Parent is a widget that shows things which are not its own, so that a walk over a page finds them.
type Parent interface {
	fyne.CanvasObject
	Children() []fyne.CanvasObject
	Arrange() // puts them in their places again, at the present size
}

// show scrolls so that a thing is in view.
func (p *Page) show(o fyne.CanvasObject) {
	d := fyne.CurrentApp().Driver()
	y := d.AbsolutePositionForObject(o).Y - d.AbsolutePositionForObject(p.Content).Y
	h := min(o.Size().Height, 120)
	view := p.Scroll.Size().Height
	switch off := p.Scroll.Offset.Y; {
	case y < off+8:
		p.Scroll.ScrollToOffset(fyne.NewPos(0, max(y-30, 0)))
	case y+h > off+view-8:
		p.Scroll.ScrollToOffset(fyne.NewPos(0, y+h-view+16))
	}
}

// Reveal scrolls what has the keyboard into view, on every page that it stands on.
func Reveal(o fyne.CanvasObject) {
	for _, p := range pagesOf(o) {
		p.show(o)
	}
}

// pagesOf returns the pages that a thing stands on in its window, the outermost first.
func pagesOf(o fyne.CanvasObject) []*Page {
	c := fyne.CurrentApp().Driver().CanvasForObject(o)
	if c == nil {
		return nil
	}
	root := c.Overlays().Top()
	if root == nil {
		root = c.Content()
	}
	var pages []*Page
	for _, at := range wayTo(root, o) {
		if s, ok := at.(*fyne.Container); ok {
			if l, ok := s.Layout.(*pageLayout); ok {
				pages = append(pages, l.page)
			}
		}
	}
	return pages
}

// wayTo returns what leads from a root to a thing, both included; nil where it stands elsewhere.
func wayTo(root, o fyne.CanvasObject) []fyne.CanvasObject {
	if root == o {
		return []fyne.CanvasObject{o}
	}
	var inside []fyne.CanvasObject
	switch x := root.(type) {
	case *fyne.Container:
		inside = x.Objects
	case *container.Scroll:
		inside = []fyne.CanvasObject{x.Content}
	case *container.ThemeOverride:
		inside = []fyne.CanvasObject{x.Content}
	case Parent:
		inside = x.Children()
	}
	for _, c := range inside {
		if way := wayTo(c, o); way != nil {
			return append([]fyne.CanvasObject{root}, way...)
		}
	}
	return nil
}

// Holds reports whether a thing stands somewhere in a tree.
func Holds(tree, o fyne.CanvasObject) bool { return wayTo(tree, o) != nil }

type pageLayout struct {
	page *Page
	most float32
	bare bool // no space beside and below
	w    float32
}

// Widths of a page.
const (
	pageEdge = 28
	PageTop  = 18
	PageMost = 1224 // wider lines are hard to follow
	PageWide = 900  // narrower: what stands in the margin goes above
)

func (l *pageLayout) inner(w float32) float32 {
	if l.bare {
		return w
	}
	return min(w-2*Edge(w), l.most)
}

// Edge is the space beside everything: less where there is little.
func Edge(w float32) float32 {
	if w < PageWide+2*pageEdge {
		return 18
	}
	return pageEdge
}

func (l *pageLayout) top() float32 {
	switch {
	case l.bare:
		return 0
	case len(l.page.slot.Objects) > 0:
		return PageTop
	}
	return 6
}

func (l *pageLayout) height(o fyne.CanvasObject, w float32) float32 {
	if l.bare {
		return HeightOf(o, w) + 4
	}
	return HeightOf(o, l.inner(w)) + 30
}

func (l *pageLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w := l.inner(s.Width)
	SetBounds(o[0], (s.Width-w)/2, l.top(), w, HeightOf(o[0], w))
	if s.Width != l.w {
		l.w = s.Width
		if h := max(l.height(o[0], s.Width), l.page.Scroll.Size().Height); h != s.Height {
			l.page.Content.Resize(fyne.NewSize(s.Width, h))
		}
	}
}

func (l *pageLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	w := l.w
	if w <= 0 {
		w = 800
	}
	return fyne.NewSize(o[0].MinSize().Width+2*18, l.height(o[0], w))
}
