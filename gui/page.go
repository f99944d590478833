package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// page scrolls one thing whose height follows from its width, centred and never too wide.
type page struct {
	scroll  *container.Scroll
	content *fyne.Container
	layout  *pageLayout
	slot    *fyne.Container // above the thing: empty but on low windows
}

func newPage(o fyne.CanvasObject) *page {
	p := &page{layout: &pageLayout{most: pageMost}, slot: newColumn(0)}
	p.content = container.New(p.layout, newColumn(gapMid, p.slot, o))
	p.scroll = container.NewVScroll(p.content)
	p.layout.page = p
	return p
}

// newBarePage makes a page without space beside and below, for a sheet.
func newBarePage(o fyne.CanvasObject) *page {
	p := newPage(o)
	p.layout.bare = true
	return p
}

// setAbove puts things above the page's own, which then scroll with it; none takes them away.
func (p *page) setAbove(o ...fyne.CanvasObject) {
	p.slot.Objects = o
	p.layout.w = 0
}

// reflow is called when heights have changed.
func (p *page) reflow() {
	w := p.content.Size().Width
	if w <= 0 {
		return
	}
	size := fyne.NewSize(w, max(p.layout.height(p.content.Objects[0], w), p.scroll.Size().Height))
	if size == p.content.Size() {
		p.layout.Layout(p.content.Objects, size)
	} else {
		p.content.Resize(size)
	}
	// Columns inside lay out only when their size changes, so those that keep it are told.
	relayout(p.content.Objects[0])
	p.scroll.Refresh()
}

// relayout lays out containers again, from the top down.
func relayout(o fyne.CanvasObject) {
	switch x := o.(type) {
	case *fyne.Container:
		if x.Layout != nil {
			x.Layout.Layout(x.Objects, x.Size())
		}
		for _, c := range x.Objects {
			relayout(c)
		}
	case parent:
		x.Arrange()
		for _, c := range x.Children() {
			relayout(c)
		}
	}
}

// parent is a widget that shows things which are not its own, so that a walk over a page finds them.
type parent interface {
	fyne.CanvasObject
	Children() []fyne.CanvasObject
	Arrange() // puts them in their places again, at the present size
}

// show scrolls so that a thing is in view.
func (p *page) show(o fyne.CanvasObject) {
	d := fyne.CurrentApp().Driver()
	y := d.AbsolutePositionForObject(o).Y - d.AbsolutePositionForObject(p.content).Y
	h := min(o.Size().Height, 120)
	view := p.scroll.Size().Height
	switch off := p.scroll.Offset.Y; {
	case y < off+8:
		p.scroll.ScrollToOffset(fyne.NewPos(0, max(y-30, 0)))
	case y+h > off+view-8:
		p.scroll.ScrollToOffset(fyne.NewPos(0, y+h-view+16))
	}
}

// reveal scrolls what has the keyboard into view, on every page that it stands on.
func reveal(o fyne.CanvasObject) {
	for _, p := range pagesOf(o) {
		p.show(o)
	}
}

// pagesOf returns the pages that a thing stands on in its window, the outermost first.
func pagesOf(o fyne.CanvasObject) []*page {
	c := fyne.CurrentApp().Driver().CanvasForObject(o)
	if c == nil {
		return nil
	}
	root := c.Overlays().Top()
	if root == nil {
		root = c.Content()
	}
	var pages []*page
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
	case parent:
		inside = x.Children()
	}
	for _, c := range inside {
		if way := wayTo(c, o); way != nil {
			return append([]fyne.CanvasObject{root}, way...)
		}
	}
	return nil
}

// holds reports whether a thing stands somewhere in a tree.
func holds(tree, o fyne.CanvasObject) bool { return wayTo(tree, o) != nil }

type pageLayout struct {
	page *page
	most float32
	bare bool // no space beside and below
	w    float32
}

// Widths of a page.
const (
	pageEdge = 28
	pageTop  = 18
	pageMost = 1224 // wider lines are hard to follow
	pageWide = 900  // narrower: what stands in the margin goes above
)

func (l *pageLayout) inner(w float32) float32 {
	if l.bare {
		return w
	}
	return min(w-2*edge(w), l.most)
}

// edge is the space beside everything: less where there is little.
func edge(w float32) float32 {
	if w < pageWide+2*pageEdge {
		return 18
	}
	return pageEdge
}

func (l *pageLayout) top() float32 {
	switch {
	case l.bare:
		return 0
	case len(l.page.slot.Objects) > 0:
		return pageTop
	}
	return 6
}

func (l *pageLayout) height(o fyne.CanvasObject, w float32) float32 {
	if l.bare {
		return heightOf(o, w) + 4
	}
	return heightOf(o, l.inner(w)) + 30
}

func (l *pageLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w := l.inner(s.Width)
	setBounds(o[0], (s.Width-w)/2, l.top(), w, heightOf(o[0], w))
	if s.Width != l.w {
		l.w = s.Width
		if h := max(l.height(o[0], s.Width), l.page.scroll.Size().Height); h != s.Height {
			l.page.content.Resize(fyne.NewSize(s.Width, h))
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
