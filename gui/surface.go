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

func (s *surface) heightFor(w float32) float32 {
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

// CreateRenderer implements fyne.Widget.
func (s *surface) CreateRenderer() fyne.WidgetRenderer {
	s.rect = canvas.NewRectangle(color.Transparent)
	s.apply()
	return &surfaceRenderer{s}
}

type surfaceRenderer struct{ s *surface }

func (r *surfaceRenderer) Layout(sz fyne.Size) {
	r.s.rect.Resize(sz)
	setBounds(r.s.content, r.s.padX, r.s.padY, sz.Width-2*r.s.padX, sz.Height-2*r.s.padY)
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

// mark is a drawing from assets in colours of the theme, of a fixed size.
type mark struct {
	widget.BaseWidget
	name      string
	shape, on fyne.ThemeColorName
	side      float32
	img       *canvas.Image
}

func newMark(name string, shape fyne.ThemeColorName, side float32) *mark {
	m := &mark{name: name, shape: shape, on: colSurface, side: side}
	m.ExtendBaseWidget(m)
	return m
}

func (m *mark) set(name string, shape fyne.ThemeColorName) {
	if m.name != name || m.shape != shape {
		m.name, m.shape = name, shape
		m.Refresh()
	}
}

// CreateRenderer implements fyne.Widget.
func (m *mark) CreateRenderer() fyne.WidgetRenderer {
	m.img = canvas.NewImageFromResource(art(m.name, m.shape, m.on))
	m.img.FillMode = canvas.ImageFillContain
	return &markRenderer{m}
}

type markRenderer struct{ m *mark }

func (r *markRenderer) Layout(s fyne.Size) {
	d := min(r.m.side, s.Width, s.Height)
	setBounds(r.m.img, (s.Width-d)/2, (s.Height-d)/2, d, d)
}
func (r *markRenderer) MinSize() fyne.Size { return fyne.NewSquareSize(r.m.side) }
func (r *markRenderer) Refresh() {
	r.m.img.Resource = art(r.m.name, r.m.shape, r.m.on)
	r.m.img.Refresh()
}
func (r *markRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.m.img} }
func (r *markRenderer) Destroy()                     {}
