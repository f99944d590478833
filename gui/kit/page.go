package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// Page scrolls one thing whose height follows from its width, centred and never too wide. What stands
// above it keeps its place while there is room, and scrolls along where the page is low.
type Page struct {
	Base
	above, body fyne.CanvasObject
	fixedFrom   float32 // height of the page from which what stands above keeps its place
	bare        bool    // no space beside and below

	offset float32 // how far it is scrolled
	total  float32 // height of all that scrolls
	low    bool

	fixed, content *fyne.Container
	clip           *container.Clip
	bar            *scrollBar
}

// Widths of a page.
const (
	pageEdge = 28
	pageTop  = 18
	// pageLeast is what must be left for what scrolls, or what stands above it scrolls along.
	pageLeast = 120
	PageMost  = 1224 // wider lines are hard to follow
	PageWide  = 900  // narrower: what stands in the margin goes above
)

// NewPage makes a page that scrolls one thing.
func NewPage(body fyne.CanvasObject) *Page {
	p := &Page{body: body, fixed: container.NewWithoutLayout()}
	p.content = container.New(&pageContent{p}, body)
	p.clip = container.NewClip(p.content)
	p.clip.ExtendBaseWidget(p.clip) // or it is not refreshed before it is drawn
	p.bar = newScrollBar(p)
	p.Extend(p)
	return p
}

// NewBarePage makes a page without space beside and below, for a sheet.
func NewBarePage(body fyne.CanvasObject) *Page {
	p := NewPage(body)
	p.bare = true
	return p
}

// SetAbove puts something above. From a height of the page on it keeps its place; on a lower page it
// scrolls with the rest.
func (p *Page) SetAbove(o fyne.CanvasObject, from float32) {
	p.above, p.fixedFrom = o, from
	p.setLow(p.Size().Height > 0 && p.Size().Height < from)
}

func (p *Page) setLow(low bool) {
	p.low = low
	p.fixed.Objects, p.content.Objects = nil, []fyne.CanvasObject{p.body}
	switch {
	case p.above == nil:
	case low:
		p.content.Objects = []fyne.CanvasObject{p.above, p.body}
	default:
		p.fixed.Objects = []fyne.CanvasObject{p.above}
	}
}

// Edge is the space beside everything: less where there is little.
func Edge(w float32) float32 {
	if w < PageWide+2*pageEdge {
		return 18
	}
	return pageEdge
}

func (p *Page) inner(w float32) float32 {
	if p.bare {
		return w
	}
	return min(w-2*Edge(w), PageMost)
}

// Place puts everything where its height, which follows from the present width, has it.
func (p *Page) Place(s fyne.Size) {
	if s.Width <= 0 || s.Height <= 0 {
		return
	}
	y, w := float32(0), p.inner(s.Width)
	if p.above != nil {
		low := s.Height < p.fixedFrom || s.Height-HeightOf(p.above, w)-pageTop-10 < pageLeast
		if low != p.low {
			p.setLow(low)
		}
	}
	if p.above != nil && !p.low {
		h := HeightOf(p.above, w)
		y = h + pageTop + 10
		SetBounds(p.fixed, 0, 0, s.Width, y)
		SetBounds(p.above, (s.Width-w)/2, pageTop, w, h)
	}
	SetBounds(p.clip, 0, y, s.Width, s.Height-y)
	(&pageContent{p}).Layout(p.content.Objects, p.clip.Size())
	SetBounds(p.bar, s.Width-scrollW+2, y+2, scrollW, s.Height-y-4)
	p.bar.update()
}

// pageContent places what scrolls, as far up as the page is scrolled.
type pageContent struct{ p *Page }

func (l *pageContent) Layout(o []fyne.CanvasObject, s fyne.Size) {
	p := l.p
	w := p.inner(s.Width)
	top, between, foot := float32(6), float32(GapMid), float32(24)
	switch {
	case p.bare:
		top, foot = 0, 4
	case p.low && p.above != nil:
		top = pageTop
	}
	heights := make([]float32, len(o))
	p.total = top + foot - between
	for i, x := range o {
		heights[i] = HeightOf(x, w)
		p.total += heights[i] + between
	}
	p.offset = p.within(p.offset, s.Height)
	y := top - p.offset
	for i, x := range o {
		SetBounds(x, (s.Width-w)/2, y, w, heights[i])
		y += heights[i] + between
	}
}

func (*pageContent) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(1, 1) }

func (p *Page) within(y, view float32) float32 { return min(max(y, 0), max(p.total-view, 0)) }

// Reflow is called when heights have changed.
func (p *Page) Reflow() { Relayout(p) }

// Offset is how far the page is scrolled; MaxOffset is how far it can be.
func (p *Page) Offset() float32 { return p.offset }

func (p *Page) MaxOffset() float32 { return max(p.total-p.clip.Size().Height, 0) }

// ScrollTo scrolls to a distance from the top, or as far as there is something.
func (p *Page) ScrollTo(y float32) {
	if y = p.within(y, p.clip.Size().Height); y != p.offset {
		p.offset = y
		(&pageContent{p}).Layout(p.content.Objects, p.clip.Size())
		p.bar.update()
	}
}

// ScrollPages turns by most of what is seen, down for a positive number.
func (p *Page) ScrollPages(pages float32) {
	p.ScrollTo(p.offset + pages*max(p.clip.Size().Height-60, 40))
}

// Scrolled implements fyne.Scrollable.
func (p *Page) Scrolled(e *fyne.ScrollEvent) { p.ScrollTo(p.offset - e.Scrolled.DY) }

// Viewport is the part of the page in which it scrolls.
func (p *Page) Viewport() fyne.CanvasObject { return p.clip }

// Scrolls reports whether a thing stands among what scrolls.
func (p *Page) Scrolls(o fyne.CanvasObject) bool { return wayTo(p.content, o) != nil }

// extent, view, at and setAt implement scrolling.
func (p *Page) extent() float64 { return float64(p.total) }
func (p *Page) view() float64   { return float64(p.clip.Size().Height) }
func (p *Page) at() float64     { return float64(p.offset) }
func (p *Page) setAt(v float64) { p.ScrollTo(float32(v)) }
func (p *Page) page() float64   { return float64(max(p.clip.Size().Height-60, 40)) }

// Bring scrolls so that a thing is in view. It goes by the places of what holds it, since the driver does not
// know yet where something new will be.
func (p *Page) Bring(o fyne.CanvasObject) {
	way := wayTo(p.content, o)
	if way == nil {
		return
	}
	y := p.offset
	for _, x := range way[1:] {
		y += x.Position().Y
	}
	h := min(o.Size().Height, 120)
	view := p.clip.Size().Height
	switch {
	case y < p.offset+8:
		p.ScrollTo(max(y-30, 0))
	case y+h > p.offset+view-8:
		p.ScrollTo(y + h - view + 16)
	}
}

// ShowMost scrolls so that as much as possible of a thing is in view, its head always.
func (p *Page) ShowMost(o fyne.CanvasObject) {
	if !p.Scrolls(o) {
		return
	}
	d := fyne.CurrentApp().Driver()
	y := d.AbsolutePositionForObject(o).Y - d.AbsolutePositionForObject(p.clip).Y + p.offset
	if low := y + o.Size().Height + 8 - p.clip.Size().Height; low > p.offset {
		p.ScrollTo(min(low, max(y-8, 0)))
	}
}

// Least and Parts implement Drawn.
func (p *Page) Least() fyne.Size {
	w := float32(100)
	for _, o := range []fyne.CanvasObject{p.above, p.body} {
		if o != nil {
			w = max(w, o.MinSize().Width+2*18)
		}
	}
	return fyne.NewSize(w, 60)
}
func (p *Page) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{p.fixed, p.clip, p.bar} }

// Reveal scrolls what has the keyboard into view, on every page that it stands on.
func Reveal(o fyne.CanvasObject) {
	for _, p := range pagesOf(o) {
		p.Bring(o)
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
		if p, ok := at.(*Page); ok {
			pages = append(pages, p)
		}
	}
	return pages
}
