package kit

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// headCell is a column's head; pressed, it sorts by its column.
type headCell struct {
	widget.BaseWidget
	t                *Table
	col              int
	focused, hovered bool
	text             *Text
	arrow            *Mark
	veil             *canvas.Rectangle
}

// CreateRenderer implements fyne.Widget.
func (h *headCell) CreateRenderer() fyne.WidgetRenderer {
	h.text = NewText(h.t.cols[h.col].Title, headTexts, ColMuted).Bold()
	h.arrow = NewMark("up", ColMuted, 13)
	h.veil = canvas.NewRectangle(color.Transparent)
	h.veil.CornerRadius = 6
	r := &headCellRenderer{h}
	r.apply()
	return r
}

func (h *headCell) sortable() bool { return h.t.cols[h.col].Sortable }

// Tapped implements fyne.Tappable.
func (h *headCell) Tapped(*fyne.PointEvent) {
	if h.sortable() && h.t.OnSort != nil {
		h.t.OnSort(h.col)
	}
}

// MouseIn implements desktop.Hoverable.
func (h *headCell) MouseIn(*desktop.MouseEvent) { h.hovered = h.sortable(); h.Refresh() }

// MouseMoved does nothing.
func (h *headCell) MouseMoved(*desktop.MouseEvent) {}

// MouseOut takes the hover away.
func (h *headCell) MouseOut() { h.hovered = false; h.Refresh() }

// FocusGained implements fyne.Focusable.
func (h *headCell) FocusGained() { h.focused = true; h.Refresh() }

// FocusLost takes the ring away.
func (h *headCell) FocusLost() { h.focused = false; h.Refresh() }

// TypedRune does nothing.
func (h *headCell) TypedRune(rune) {}

// TypedKey sorts by Return and space.
func (h *headCell) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		h.Tapped(nil)
	default:
		PassKey(h, e)
	}
}

type headCellRenderer struct{ h *headCell }

func (r *headCellRenderer) apply() {
	h := r.h
	c := ColMuted
	if h.t.Sorted == h.col {
		c = ColText
	}
	h.text.Set(h.t.cols[h.col].Title, c)
	name := "up"
	if h.t.Descending {
		name = "down"
	}
	h.arrow.Set(name, c)
	SetVisible(h.arrow, h.t.Sorted == h.col && h.sortable())
	over, width := fyne.ThemeColorName(""), float32(0)
	if h.hovered {
		over = theme.ColorNameHover
	}
	if h.focused {
		width = 2
	}
	SetFill(h.veil, over)
	SetStroke(h.veil, ColAccent, width)
}

func (r *headCellRenderer) Layout(s fyne.Size) {
	h := r.h
	SetBounds(h.veil, 4, 3, s.Width-8, s.Height-7)
	w := h.text.MinSize().Width
	x := float32(cellPad)
	if h.t.cols[h.col].Right {
		x = s.Width - cellPad - w
		SetBounds(h.arrow, x-18, (s.Height-13)/2, 13, 13)
	} else {
		SetBounds(h.arrow, x+w+5, (s.Height-13)/2, 13, 13)
	}
	SetBounds(h.text, x, 0, w, s.Height)
}
func (r *headCellRenderer) MinSize() fyne.Size { return fyne.NewSize(40, headHigh) }
func (r *headCellRenderer) Refresh() {
	r.apply()
	r.Layout(r.h.Size())
	r.h.text.Refresh()
	r.h.arrow.Refresh()
}

func (r *headCellRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.h.veil, r.h.text, r.h.arrow}
}
func (r *headCellRenderer) Destroy() {}
