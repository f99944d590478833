package gui

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
	t                *table
	col              int
	focused, hovered bool
	text             *textLine
	arrow            *mark
	veil             *canvas.Rectangle
}

// CreateRenderer implements fyne.Widget.
func (h *headCell) CreateRenderer() fyne.WidgetRenderer {
	h.text = newText(h.t.cols[h.col].title, headTexts, colMuted).bold()
	h.arrow = newMark("up", colMuted, 13)
	h.veil = canvas.NewRectangle(color.Transparent)
	h.veil.CornerRadius = 6
	r := &headCellRenderer{h}
	r.apply()
	return r
}

func (h *headCell) sortable() bool { return h.t.cols[h.col].sortBy }

// Tapped implements fyne.Tappable.
func (h *headCell) Tapped(*fyne.PointEvent) {
	if h.sortable() && h.t.head != nil {
		h.t.head(h.col)
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
		passKey(h, e)
	}
}

type headCellRenderer struct{ h *headCell }

func (r *headCellRenderer) apply() {
	h := r.h
	c := colMuted
	if h.t.sorted == h.col {
		c = colText
	}
	h.text.set(h.t.cols[h.col].title, c)
	name := "up"
	if h.t.descending {
		name = "down"
	}
	h.arrow.set(name, c)
	if h.t.sorted == h.col && h.sortable() {
		h.arrow.Show()
	} else {
		h.arrow.Hide()
	}
	h.veil.FillColor = color.Transparent
	if h.hovered {
		h.veil.FillColor = paint(theme.ColorNameHover)
	}
	h.veil.StrokeWidth = 0
	if h.focused {
		h.veil.StrokeColor, h.veil.StrokeWidth = paint(colAccent), 2
	}
}

func (r *headCellRenderer) Layout(s fyne.Size) {
	h := r.h
	setBounds(h.veil, 4, 3, s.Width-8, s.Height-7)
	w := h.text.MinSize().Width
	x := float32(cellPad)
	if h.t.cols[h.col].right {
		x = s.Width - cellPad - w
		setBounds(h.arrow, x-18, (s.Height-13)/2, 13, 13)
	} else {
		setBounds(h.arrow, x+w+5, (s.Height-13)/2, 13, 13)
	}
	setBounds(h.text, x, 0, w, s.Height)
}
func (r *headCellRenderer) MinSize() fyne.Size { return fyne.NewSize(40, headHigh) }
func (r *headCellRenderer) Refresh() {
	r.apply()
	r.Layout(r.h.Size())
	r.h.veil.Refresh()
	r.h.text.Refresh()
	r.h.arrow.Refresh()
}

func (r *headCellRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.h.veil, r.h.text, r.h.arrow}
}
func (r *headCellRenderer) Destroy() {}
