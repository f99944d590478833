package kit

import (
	"sync/atomic"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Surface is a panel: a fill and a border of the theme with something inset.
type Surface struct {
	widget.BaseWidget
	fill, stroke fyne.ThemeColorName
	StrokeWidth  float32
	radius       float32
	padX, padY   float32
	content      fyne.CanvasObject
	rect         *canvas.Rectangle
}

// NewSurface makes a panel; without a stroke it has no border.
func NewSurface(fill, stroke fyne.ThemeColorName, content fyne.CanvasObject) *Surface {
	s := &Surface{fill: fill, stroke: stroke, StrokeWidth: 1, radius: radius, content: content}
	s.ExtendBaseWidget(s)
	return s
}

// Pad and Round set the inset and the radius of the corners; they return the surface itself.
func (s *Surface) Pad(x, y float32) *Surface { s.padX, s.padY = x, y; return s }
func (s *Surface) Round(r float32) *Surface  { s.radius = r; return s }

// HeightFor returns the height of the content and its inset at a width.
func (s *Surface) HeightFor(w float32) float32 {
	return HeightOf(s.content, w-2*s.padX) + 2*s.padY
}

func (s *Surface) apply() {
	s.rect.CornerRadius = s.radius
	SetFill(s.rect, s.fill)
	width := s.StrokeWidth
	if s.stroke == "" {
		width = 0
	}
	SetStroke(s.rect, s.stroke, width)
}

// Children and Arrange implement Parent.
func (s *Surface) Children() []fyne.CanvasObject { return []fyne.CanvasObject{s.content} }

func (s *Surface) Arrange() {
	sz := s.Size()
	SetBounds(s.content, s.padX, s.padY, sz.Width-2*s.padX, sz.Height-2*s.padY)
}

// CreateRenderer implements fyne.Widget.
func (s *Surface) CreateRenderer() fyne.WidgetRenderer {
	s.rect = NewBox(0)
	s.apply()
	return &surfaceRenderer{s}
}

type surfaceRenderer struct{ s *Surface }

func (r *surfaceRenderer) Layout(sz fyne.Size) {
	SetBounds(r.s.rect, 0, 0, sz.Width, sz.Height)
	r.s.Arrange()
}

func (r *surfaceRenderer) MinSize() fyne.Size {
	return r.s.content.MinSize().AddWidthHeight(2*r.s.padX, 2*r.s.padY)
}
func (r *surfaceRenderer) Refresh() { r.s.apply(); r.s.content.Refresh() }
func (r *surfaceRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.s.rect, r.s.content}
}
func (r *surfaceRenderer) Destroy() {}

// rule is a thin straight line across.
type rule struct {
	widget.BaseWidget
	rect *canvas.Rectangle
}

// NewRule makes a thin line.
func NewRule() *rule {
	r := &rule{}
	r.ExtendBaseWidget(r)
	return r
}

// CreateRenderer implements fyne.Widget.
func (l *rule) CreateRenderer() fyne.WidgetRenderer {
	l.rect = canvas.NewRectangle(Paint(ColLine))
	return &ruleRenderer{l}
}

type ruleRenderer struct{ l *rule }

func (r *ruleRenderer) Layout(s fyne.Size)           { SetBounds(r.l.rect, 0, 0, s.Width, 1) }
func (r *ruleRenderer) MinSize() fyne.Size           { return fyne.NewSize(8, 1) }
func (r *ruleRenderer) Refresh()                     { SetFill(r.l.rect, ColLine) }
func (r *ruleRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.l.rect} }
func (r *ruleRenderer) Destroy()                     {}

// Background fills the window with the theme's background, and counts how often the window is looked
// over: each time that it is drawn, and more often.
type Background struct {
	widget.BaseWidget
	rect  *canvas.Rectangle
	looks atomic.Int64
}

// NewBackground fills the window with the theme's background.
func NewBackground() *Background {
	b := &Background{rect: NewBox(0)}
	b.ExtendBaseWidget(b)
	return b
}

// Looks grows whenever the window is drawn. While it stays, nothing that is shown has changed. It may be
// called on any goroutine.
func (b *Background) Looks() int64 { return b.looks.Load() }

// CreateRenderer implements fyne.Widget.
func (b *Background) CreateRenderer() fyne.WidgetRenderer {
	SetFill(b.rect, ColGround)
	return &backgroundRenderer{b}
}

type backgroundRenderer struct{ b *Background }

func (r *backgroundRenderer) Layout(s fyne.Size) { SetBounds(r.b.rect, 0, 0, s.Width, s.Height) }
func (r *backgroundRenderer) MinSize() fyne.Size { return fyne.NewSize(1, 1) }
func (r *backgroundRenderer) Refresh()           { SetFill(r.b.rect, ColGround) }
func (r *backgroundRenderer) Destroy()           {}
func (r *backgroundRenderer) Objects() []fyne.CanvasObject {
	r.b.looks.Add(1)
	return []fyne.CanvasObject{r.b.rect}
}
