package kit

import (
	"sync/atomic"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// Surface is a panel: a fill and a border of the theme with something inset.
type Surface struct {
	Base
	fill, stroke fyne.ThemeColorName
	StrokeWidth  float32
	radius       float32
	padX, padY   float32
	content      fyne.CanvasObject
	rect         *canvas.Rectangle
}

// NewSurface makes a panel; without a stroke it has no border.
func NewSurface(fill, stroke fyne.ThemeColorName, content fyne.CanvasObject) *Surface {
	s := &Surface{fill: fill, stroke: stroke, StrokeWidth: 1, radius: radius, content: content, rect: NewBox(0)}
	s.Extend(s)
	return s
}

// Pad and Round set the inset and the radius of the corners; they return the surface itself.
func (s *Surface) Pad(x, y float32) *Surface { s.padX, s.padY = x, y; return s }
func (s *Surface) Round(r float32) *Surface  { s.radius = r; return s }

// HeightFor returns the height of the content and its inset at a width.
func (s *Surface) HeightFor(w float32) float32 {
	return HeightOf(s.content, w-2*s.padX) + 2*s.padY
}

// Apply, Place, Least and Parts implement Drawn.
func (s *Surface) Apply() {
	s.rect.CornerRadius = s.radius
	SetFill(s.rect, s.fill)
	width := s.StrokeWidth
	if s.stroke == "" {
		width = 0
	}
	SetStroke(s.rect, s.stroke, width)
}

func (s *Surface) Place(size fyne.Size) {
	SetBounds(s.rect, 0, 0, size.Width, size.Height)
	SetBounds(s.content, s.padX, s.padY, size.Width-2*s.padX, size.Height-2*s.padY)
}

func (s *Surface) Least() fyne.Size           { return s.content.MinSize().AddWidthHeight(2*s.padX, 2*s.padY) }
func (s *Surface) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{s.rect, s.content} }

// rule is a thin straight line across.
type rule struct {
	Base
	rect *canvas.Rectangle
}

// NewRule makes a thin line.
func NewRule() *rule {
	r := &rule{rect: NewBox(0)}
	r.Extend(r)
	return r
}

// Apply, Place, Least and Parts implement Drawn.
func (r *rule) Apply()                     { SetFill(r.rect, ColLine) }
func (r *rule) Place(s fyne.Size)          { SetBounds(r.rect, 0, 0, s.Width, 1) }
func (r *rule) Least() fyne.Size           { return fyne.NewSize(8, 1) }
func (r *rule) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{r.rect} }

// Background fills the window with the theme's background, and counts how often the window is looked
// over: each time that it is drawn, and more often.
type Background struct {
	Base
	rect  *canvas.Rectangle
	looks atomic.Int64
}

// NewBackground fills the window with the theme's background.
func NewBackground() *Background {
	b := &Background{rect: NewBox(0)}
	b.Extend(b)
	return b
}

// Looks grows whenever the window is drawn. While it stays, nothing that is shown has changed. It may be
// called on any goroutine.
func (b *Background) Looks() int64 { return b.looks.Load() }

// Apply, Place, Least and Parts implement Drawn.
func (b *Background) Apply()                     { SetFill(b.rect, ColGround) }
func (b *Background) Place(s fyne.Size)          { SetBounds(b.rect, 0, 0, s.Width, s.Height) }
func (b *Background) Least() fyne.Size           { return fyne.NewSize(1, 1) }
func (b *Background) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{b.rect} }

// CreateRenderer implements fyne.Widget.
func (b *Background) CreateRenderer() fyne.WidgetRenderer {
	return countingRenderer{newRenderer(b), &b.looks}
}

// countingRenderer counts how often the toolkit asks for what is to be drawn.
type countingRenderer struct {
	renderer
	looks *atomic.Int64
}

func (r countingRenderer) Objects() []fyne.CanvasObject {
	r.looks.Add(1)
	return r.renderer.Objects()
}
