package gui

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// surface is a panel: a fill and a border of the theme with something inset.
type surface struct {
	widget.BaseWidget
	fill, stroke fyne.ThemeColorName
	strokeWidth  float32
	radius       float32
	padX, padY   float32
	content      fyne.CanvasObject
	rect         *canvas.Rectangle
}

func newSurface(fill, stroke fyne.ThemeColorName, content fyne.CanvasObject) *surface {
	s := &surface{fill: fill, stroke: stroke, strokeWidth: 1, radius: radius, content: content}
	s.ExtendBaseWidget(s)
	return s
}

func (s *surface) pad(x, y float32) *surface { s.padX, s.padY = x, y; return s }
func (s *surface) round(r float32) *surface  { s.radius = r; return s }

func (s *surface) HeightFor(w float32) float32 {
	return heightOf(s.content, w-2*s.padX) + 2*s.padY
}

func (s *surface) apply() {
	s.rect.CornerRadius = s.radius
	s.rect.FillColor = paint(s.fill)
	s.rect.StrokeColor = paint(s.stroke)
	s.rect.StrokeWidth = s.strokeWidth
	if s.stroke == "" {
		s.rect.StrokeWidth = 0
	}
}

func (s *surface) Children() []fyne.CanvasObject { return []fyne.CanvasObject{s.content} }

func (s *surface) Arrange() {
	sz := s.Size()
	setBounds(s.content, s.padX, s.padY, sz.Width-2*s.padX, sz.Height-2*s.padY)
}

// CreateRenderer implements fyne.Widget.
func (s *surface) CreateRenderer() fyne.WidgetRenderer {
	s.rect = canvas.NewRectangle(color.Transparent)
	s.apply()
	return &surfaceRenderer{s}
}

type surfaceRenderer struct{ s *surface }

func (r *surfaceRenderer) Layout(sz fyne.Size) {
	r.s.rect.Resize(sz)
	r.s.Arrange()
}

func (r *surfaceRenderer) MinSize() fyne.Size {
	return r.s.content.MinSize().AddWidthHeight(2*r.s.padX, 2*r.s.padY)
}
func (r *surfaceRenderer) Refresh() { r.s.apply(); r.s.rect.Refresh(); r.s.content.Refresh() }
func (r *surfaceRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.s.rect, r.s.content}
}
func (r *surfaceRenderer) Destroy() {}

// rule is a thin straight line across.
type rule struct {
	widget.BaseWidget
	rect *canvas.Rectangle
}

func newRule() *rule {
	r := &rule{}
	r.ExtendBaseWidget(r)
	return r
}

// CreateRenderer implements fyne.Widget.
func (l *rule) CreateRenderer() fyne.WidgetRenderer {
	l.rect = canvas.NewRectangle(paint(colLine))
	return &ruleRenderer{l}
}

type ruleRenderer struct{ l *rule }

func (r *ruleRenderer) Layout(s fyne.Size)           { r.l.rect.Resize(fyne.NewSize(s.Width, 1)) }
func (r *ruleRenderer) MinSize() fyne.Size           { return fyne.NewSize(8, 1) }
func (r *ruleRenderer) Refresh()                     { r.l.rect.FillColor = paint(colLine); r.l.rect.Refresh() }
func (r *ruleRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.l.rect} }
func (r *ruleRenderer) Destroy()                     {}

// background fills the window with the theme's background.
type background struct {
	widget.BaseWidget
	rect *canvas.Rectangle
}

func newBackground() *background {
	g := &background{}
	g.ExtendBaseWidget(g)
	return g
}

// CreateRenderer implements fyne.Widget.
func (g *background) CreateRenderer() fyne.WidgetRenderer {
	g.rect = canvas.NewRectangle(color.Transparent)
	r := &backgroundRenderer{g}
	r.Refresh()
	return r
}

type backgroundRenderer struct{ g *background }

func (r *backgroundRenderer) Layout(s fyne.Size)           { r.g.rect.Resize(s) }
func (r *backgroundRenderer) MinSize() fyne.Size           { return fyne.NewSize(1, 1) }
func (r *backgroundRenderer) Refresh()                     { r.g.rect.FillColor = paint(colGround); r.g.rect.Refresh() }
func (r *backgroundRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.g.rect} }
func (r *backgroundRenderer) Destroy()                     {}
