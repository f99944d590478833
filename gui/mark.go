package gui

import (
	"fmt"
	"sync"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"

	"loadline/assets"
)

// badge is a status as shape and colour; the word comes from checks.
type badge struct {
	mark  string
	color fyne.ThemeColorName
}

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

func css(n fyne.ThemeColorName) string {
	r, g, b, _ := paint(n).RGBA()
	return fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8)
}

// art returns a mark in two colours of the current theme. The name of the resource holds the
// colours, since Fyne caches what it drew by that name.
func art(name string, shape, on fyne.ThemeColorName) fyne.Resource {
	a, b := css(shape), css(on)
	key := name + a[1:] + b[1:] + ".svg"
	if r, ok := artCache.Load(key); ok {
		return r.(fyne.Resource)
	}
	r := fyne.NewStaticResource(key, assets.Mark(name, a, b))
	artCache.Store(key, r)
	return r
}

var artCache sync.Map
