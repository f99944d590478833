package kit

import (
	"fmt"
	"sync"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"

	"loadline/assets"
)

// Badge is a status as shape and colour; the word comes from checks.
type Badge struct {
	Mark  string
	Color fyne.ThemeColorName
}

// Mark is a drawing from assets in colours of the theme, of a fixed size.
type Mark struct {
	Base
	name         string
	shape, Inner fyne.ThemeColorName
	side         float32
	img          *canvas.Image
}

// NewMark makes a mark of a name from assets; side is its width and height.
func NewMark(name string, shape fyne.ThemeColorName, side float32) *Mark {
	m := &Mark{name: name, shape: shape, Inner: ColSurface, side: side, img: canvas.NewImageFromResource(nil)}
	m.img.FillMode = canvas.ImageFillContain
	m.Extend(m)
	return m
}

// Set changes which mark is shown, and its colour.
func (m *Mark) Set(name string, shape fyne.ThemeColorName) {
	if m.name != name || m.shape != shape {
		m.name, m.shape = name, shape
		m.Refresh()
	}
}

// Apply, Place, Least and Parts implement Drawn.
func (m *Mark) Apply() {
	a, was := art(m.name, m.shape, m.Inner, m.side), m.img.Resource
	m.img.Resource = a
	if was != nil && was != a { // the first is read once it is seen
		m.img.Refresh()
	}
}

func (m *Mark) Place(s fyne.Size) {
	d := min(m.side, s.Width, s.Height)
	SetBounds(m.img, (s.Width-d)/2, (s.Height-d)/2, d, d)
}
func (m *Mark) Least() fyne.Size           { return fyne.NewSquareSize(m.side) }
func (m *Mark) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{m.img} }

func css(n fyne.ThemeColorName) string {
	r, g, b, _ := Paint(n).RGBA()
	return fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8)
}

// art returns a mark in two colours of the current theme. The name of the resource holds colours and
// size: the toolkit keeps one raster by name, and asked for another size it would draw it again.
func art(name string, shape, inner fyne.ThemeColorName, side float32) fyne.Resource {
	a, b := css(shape), css(inner)
	key := fmt.Sprintf("%s%s%s-%g.svg", name, a[1:], b[1:], side)
	if r, ok := drawn.Load(key); ok {
		return r.(fyne.Resource)
	}
	r := fyne.NewStaticResource(key, assets.Mark(name, a, b))
	drawn.Store(key, r)
	return r
}

// drawn holds every mark that was asked for, by its key: a few dozen.
var drawn sync.Map
