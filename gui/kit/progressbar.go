package kit

import (
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// ProgressBar is a thin bar that fills from the left. While nothing is known of the end, a piece of it
// wanders with every step that is shown: it moves only when there is something new.
type ProgressBar struct {
	widget.BaseWidget
	Value    float64 // 0 to 1; negative while unknown
	sweep    float64 // where the piece is then, 0 to 1
	bed, run *canvas.Rectangle
}

// NewProgressBar makes an empty bar.
func NewProgressBar() *ProgressBar {
	m := &ProgressBar{}
	m.ExtendBaseWidget(m)
	return m
}

// Set shows a share from 0 to 1.
func (m *ProgressBar) Set(v float64) {
	if v != m.Value {
		m.Value = v
		m.Refresh()
	}
}

// SetUnknown shows that the end is unknown; at tells where the piece is.
func (m *ProgressBar) SetUnknown(at float64) {
	if sweep := math.Abs(math.Mod(at, 2) - 1); m.Value != -1 || sweep != m.sweep { // to and fro
		m.Value, m.sweep = -1, sweep
		m.Refresh()
	}
}

// CreateRenderer implements fyne.Widget.
func (m *ProgressBar) CreateRenderer() fyne.WidgetRenderer {
	m.bed, m.run = canvas.NewRectangle(Paint(ColLine)), canvas.NewRectangle(Paint(ColAccent))
	m.bed.CornerRadius, m.run.CornerRadius = 3, 3
	return &progressBarRenderer{m}
}

type progressBarRenderer struct{ m *ProgressBar }

func (r *progressBarRenderer) Layout(s fyne.Size) {
	SetBounds(r.m.bed, 0, (s.Height-6)/2, s.Width, 6)
	if r.m.Value < 0 {
		w := s.Width * 0.16
		SetBounds(r.m.run, (s.Width-w)*float32(r.m.sweep), (s.Height-6)/2, w, 6)
		return
	}
	v := min(r.m.Value, 1)
	w := float32(math.Round(float64(s.Width) * v))
	if v > 0 {
		w = max(w, 6)
	}
	SetBounds(r.m.run, 0, (s.Height-6)/2, w, 6)
}
func (r *progressBarRenderer) MinSize() fyne.Size { return fyne.NewSize(60, 6) }
func (r *progressBarRenderer) Refresh() {
	SetFill(r.m.bed, ColLine)
	SetFill(r.m.run, ColAccent)
	r.Layout(r.m.Size())
}

func (r *progressBarRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.m.bed, r.m.run}
}
func (r *progressBarRenderer) Destroy() {}
