package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// headCell is a column's head; pressed, it sorts by its column.
type headCell struct {
	Pressable
	t     *Table
	col   int
	text  *Text
	arrow *Mark
	veil  *canvas.Rectangle
}

func newHeadCell(t *Table, col int) *headCell {
	h := &headCell{t: t, col: col}
	h.OnTapped = func() {
		if t.OnSort != nil {
			t.OnSort(col)
		}
	}
	h.Extend(h, nil)
	if !t.cols[col].Sortable {
		h.Disable()
	}
	return h
}

// CreateRenderer implements fyne.Widget.
func (h *headCell) CreateRenderer() fyne.WidgetRenderer {
	h.text = NewText(h.t.cols[h.col].Title, headTexts, ColMuted).Bold()
	h.arrow = NewMark("up", ColMuted, 13)
	h.veil = NewBox(6)
	r := &headCellRenderer{h}
	r.apply()
	return r
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
	SetVisible(h.arrow, h.t.Sorted == h.col && !h.Disabled())
	SetFill(h.veil, h.Veil())
	SetStroke(h.veil, ColAccent, h.Ring())
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
