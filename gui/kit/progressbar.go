package kit

import (
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// ProgressBar is a thin bar that fills from the left. While nothing is known of the end, a piece of it
// wanders with every step that is shown: it moves only when there is something new.
type ProgressBar struct {
	Base
	Value    float64 // 0 to 1; negative while unknown
	sweep    float64 // where the piece is then, 0 to 1
	bed, run *canvas.Rectangle
}

// NewProgressBar makes an empty bar.
func NewProgressBar() *ProgressBar {
	m := &ProgressBar{bed: NewBox(3), run: NewBox(3)}
	m.Extend(m)
	return m
}

// Set shows a share from 0 to 1.
func (m *ProgressBar) Set(v float64) { change(&m.Value, v, m.Refresh) }

// SetUnknown shows that the end is unknown; at tells where the piece is.
func (m *ProgressBar) SetUnknown(at float64) {
	if sweep := math.Abs(math.Mod(at, 2) - 1); m.Value != -1 || sweep != m.sweep { // to and fro
		m.Value, m.sweep = -1, sweep
		m.Refresh()
	}
}

// Apply, Place, Least and Parts implement Drawn.
func (m *ProgressBar) Apply() {
	SetFill(m.bed, ColLine)
	SetFill(m.run, ColAccent)
}

func (m *ProgressBar) Place(s fyne.Size) {
	SetBounds(m.bed, 0, (s.Height-6)/2, s.Width, 6)
	x, w := float32(0), float32(math.Round(float64(s.Width)*min(m.Value, 1)))
	switch {
	case m.Value < 0:
		w = s.Width * 0.16
		x = (s.Width - w) * float32(m.sweep)
	case m.Value > 0:
		w = max(w, 6)
	}
	SetBounds(m.run, x, (s.Height-6)/2, w, 6)
}
func (m *ProgressBar) Least() fyne.Size           { return fyne.NewSize(60, 6) }
func (m *ProgressBar) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{m.bed, m.run} }
