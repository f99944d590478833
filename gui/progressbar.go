package gui

import (
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// progressBar is a thin bar that fills from the left. While nothing is known of the end, a piece of it
// wanders with every step that is shown: it moves only when there is something new.
type progressBar struct {
	widget.BaseWidget
	value    float64 // 0 to 1; negative while unknown
	sweep    float64 // where the piece is then, 0 to 1
	bed, run *canvas.Rectangle
}

func newProgressBar() *progressBar {
	m := &progressBar{}
	m.ExtendBaseWidget(m)
	return m
}

func (m *progressBar) set(v float64) {
	if v != m.value {
		m.value = v
		m.Refresh()
	}
}

// setUnknown shows that the end is unknown; at tells where the piece is.
func (m *progressBar) setUnknown(at float64) {
	m.value = -1
	m.sweep = math.Abs(math.Mod(at, 2) - 1) // to and fro
	m.Refresh()
}

// CreateRenderer implements fyne.Widget.
func (m *progressBar) CreateRenderer() fyne.WidgetRenderer {
	m.bed, m.run = canvas.NewRectangle(paint(colLine)), canvas.NewRectangle(paint(colAccent))
	m.bed.CornerRadius, m.run.CornerRadius = 3, 3
	return &progressBarRenderer{m}
}

type progressBarRenderer struct{ m *progressBar }

func (r *progressBarRenderer) Layout(s fyne.Size) {
	setBounds(r.m.bed, 0, (s.Height-6)/2, s.Width, 6)
	if r.m.value < 0 {
		w := s.Width * 0.16
		setBounds(r.m.run, (s.Width-w)*float32(r.m.sweep), (s.Height-6)/2, w, 6)
		return
	}
	v := min(r.m.value, 1)
	w := s.Width * float32(v)
	if v > 0 {
		w = max(w, 6)
	}
	setBounds(r.m.run, 0, (s.Height-6)/2, w, 6)
}
func (r *progressBarRenderer) MinSize() fyne.Size { return fyne.NewSize(60, 6) }
func (r *progressBarRenderer) Refresh() {
	r.m.bed.FillColor, r.m.run.FillColor = paint(colLine), paint(colAccent)
	r.Layout(r.m.Size())
	r.m.bed.Refresh()
	r.m.run.Refresh()
}

func (r *progressBarRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.m.bed, r.m.run}
}
func (r *progressBarRenderer) Destroy() {}
