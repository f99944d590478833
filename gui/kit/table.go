package kit

import (
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
)

// Table shows rows without end, read only. Where it stands is a row number as float64, never a
// distance in pixels: a million rows are more than float32 can place. Only what can be seen exists.
type Table struct {
	Base
	cols     []Column
	rows     func() int
	cell     func(row, col int) Cell
	OnSort   func(col int) // a column's head was pressed
	OnChosen func(row int) // another row is chosen; -1 for none
	OnEnter  func(row int) // Return or a double click
	OnCopy   func(row int)

	Sorted     int // column that the rows are sorted by
	Descending bool

	Top     float64 // first row shown, with its fraction
	Chosen  int
	hover   int
	focused bool
	renewed int // cells that were given another text, for tests and measurements

	line, ring *canvas.Rectangle
	heads      []*headCell
	drawn      []*tableRow
	body       *fyne.Container // of the rows
	clip       *container.Clip
	bar        *scrollBar
	widths     []float32 // of the columns
	placed     fyne.Size // that it was placed for
}

// Column is one column; the one with width 0 takes what is left.
type Column struct {
	Title    string
	Width    float32
	Share    float32 // of the table's width, where that is more than width
	Mono     bool
	Right    bool
	Cut      elide
	Sortable bool
}

// Cell is what one cell shows: a text, or a mark before it.
type Cell struct {
	Text  string
	Mark  string
	Color fyne.ThemeColorName
}

const (
	rowHigh   = 30
	headHigh  = 34
	scrollW   = 14
	cellPad   = 12
	headTexts = SizeSmall + 1
)

// NewTable makes a table. Rows says how many there are, cell what stands in one.
func NewTable(cols []Column, rows func() int, cell func(row, col int) Cell) *Table {
	t := &Table{cols: cols, rows: rows, cell: cell, Chosen: -1, hover: -1, line: NewBox(0), ring: NewBox(radius), body: container.NewWithoutLayout()}
	t.clip, t.bar = container.NewClip(t.body), newScrollBar(t)
	for i := range cols {
		t.heads = append(t.heads, newHeadCell(t, i))
	}
	t.Extend(t)
	return t
}

// VisibleRows is how many rows fit into view, with the fraction of the last.
func (t *Table) VisibleRows() float64 { return float64((t.Size().Height - headHigh) / rowHigh) }
func (t *Table) lastTop() float64     { return math.Max(0, float64(t.rows())-t.VisibleRows()) }

// extent, view, at, setAt and page implement scrolling, in rows.
func (t *Table) extent() float64 { return float64(t.rows()) }
func (t *Table) view() float64   { return t.VisibleRows() }
func (t *Table) at() float64     { return t.Top }
func (t *Table) setAt(v float64) { t.setTop(v) }
func (t *Table) page() float64   { return t.VisibleRows() - 1 }

func (t *Table) setTop(v float64) {
	v = math.Min(math.Max(0, v), t.lastTop())
	if v != t.Top {
		t.Top = v
		t.arrange(false)
	}
}

// Renew is called after a filter or a sort: every cell is asked again.
func (t *Table) Renew() {
	if t.Chosen >= t.rows() {
		t.Choose(-1)
	}
	t.Top = math.Min(t.Top, t.lastTop())
	t.arrange(true)
	for _, h := range t.heads {
		h.Refresh()
	}
}

// Choose marks a row and brings it into view; -1 marks none.
func (t *Table) Choose(row int) {
	if n := t.rows(); row >= n {
		row = n - 1
	}
	if row < -1 {
		row = -1
	}
	changed := row != t.Chosen
	t.Chosen = row
	if row >= 0 {
		t.intoView(row)
	}
	t.arrange(false)
	if changed && t.OnChosen != nil {
		t.OnChosen(row)
	}
}

func (t *Table) intoView(row int) {
	if float64(row) < t.Top {
		t.Top = float64(row)
	} else if low := float64(row+1) - t.VisibleRows(); low > t.Top {
		t.Top = math.Min(low, t.lastTop())
	}
}

func (t *Table) rowAt(p fyne.Position) int {
	if p.Y < headHigh || p.X > t.Size().Width-scrollW {
		return -1
	}
	if r := int(t.Top + float64((p.Y-headHigh)/rowHigh)); r < t.rows() {
		return r
	}
	return -1
}

// Scrolled implements fyne.Scrollable.
func (t *Table) Scrolled(e *fyne.ScrollEvent) { t.setTop(t.Top - float64(e.Scrolled.DY)*2.4/rowHigh) }

// MouseDown chooses the row under the pointer.
func (t *Table) MouseDown(e *desktop.MouseEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(t); c != nil {
		c.Focus(t)
	}
	if r := t.rowAt(e.Position); r >= 0 {
		t.Choose(r)
	}
}

// Tapped implements fyne.Tappable; the press itself has chosen the row already.
func (t *Table) Tapped(e *fyne.PointEvent) {
	if r := t.rowAt(e.Position); r >= 0 && r != t.Chosen {
		t.Choose(r)
	}
}

// MouseUp does nothing.
func (t *Table) MouseUp(*desktop.MouseEvent) {}

// DoubleTapped enters the row under the pointer.
func (t *Table) DoubleTapped(e *fyne.PointEvent) {
	if r := t.rowAt(e.Position); r >= 0 && t.OnEnter != nil {
		t.OnEnter(r)
	}
}

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (t *Table) MouseIn(e *desktop.MouseEvent) { t.MouseMoved(e) }

// MouseMoved shows the row under the pointer.
func (t *Table) MouseMoved(e *desktop.MouseEvent) { t.setHover(t.rowAt(e.Position)) }

// MouseOut takes the hover away.
func (t *Table) MouseOut() { t.setHover(-1) }

func (t *Table) setHover(r int) {
	if r != t.hover {
		t.hover = r
		t.arrange(false)
	}
}

// FocusGained, FocusLost, TypedRune and TypedKey implement fyne.Focusable.
func (t *Table) FocusGained() {
	t.focused = true
	if t.Chosen < 0 && t.rows() > 0 {
		t.Choose(int(math.Ceil(t.Top)))
	}
	t.arrange(false)
}

// FocusLost takes the ring away.
func (t *Table) FocusLost() { t.focused = false; t.arrange(false) }

// TypedRune does nothing.
func (t *Table) TypedRune(rune) {}

// TypedShortcut copies the row.
func (t *Table) TypedShortcut(s fyne.Shortcut) {
	if _, ok := s.(*fyne.ShortcutCopy); ok && t.OnCopy != nil && t.Chosen >= 0 {
		t.OnCopy(t.Chosen)
		return
	}
	if h, ok := fyne.CurrentApp().Driver().CanvasForObject(t).(fyne.Shortcutable); ok {
		h.TypedShortcut(s)
	}
}

// TypedKey moves through the rows.
func (t *Table) TypedKey(e *fyne.KeyEvent) {
	page := max(int(t.VisibleRows())-1, 1)
	to := t.Chosen
	switch e.Name {
	case fyne.KeyDown:
		to++
	case fyne.KeyUp:
		to--
	case fyne.KeyPageDown:
		to += page
	case fyne.KeyPageUp:
		to -= page
	case fyne.KeyHome:
		to = 0
	case fyne.KeyEnd:
		to = t.rows() - 1
	case fyne.KeyReturn, fyne.KeyEnter:
		if t.Chosen >= 0 && t.OnEnter != nil {
			t.OnEnter(t.Chosen)
		}
		return
	default:
		PassKey(t, e)
		return
	}
	if t.rows() > 0 {
		t.Choose(max(to, 0))
	}
}

type tableRow struct {
	row   int
	bg    *canvas.Rectangle
	line  *canvas.Rectangle
	cells []*Text
	marks []*Mark

	marked []bool // which cells have a mark now
}

// Apply, Place, Least and Parts implement Drawn.
func (t *Table) Apply() {
	SetFill(t.line, ColLine)
	for _, r := range t.drawn {
		SetFill(r.line, theme.ColorNameSeparator)
	}
	t.arrange(true)
}

func (t *Table) columnWidths(w float32) {
	t.widths = t.widths[:0]
	left, flex := w, 0
	for _, c := range t.cols {
		left -= max(c.Width, c.Share*w)
		if c.Width == 0 {
			flex++
		}
	}
	for _, c := range t.cols {
		cw := max(c.Width, c.Share*w)
		if cw == 0 {
			cw = max(left/float32(flex), 60)
		}
		t.widths = append(t.widths, cw)
	}
}

func (t *Table) Place(s fyne.Size) {
	t.columnWidths(s.Width - scrollW)
	SetBounds(t.line, 0, headHigh-1, s.Width, 1)
	SetBounds(t.ring, 0, 0, s.Width, s.Height)
	x := float32(0)
	for i, h := range t.heads {
		SetBounds(h, x, 0, t.widths[i], headHigh)
		x += t.widths[i]
	}
	SetBounds(t.clip, 0, headHigh, s.Width-scrollW, s.Height-headHigh)
	SetBounds(t.body, 0, 0, t.clip.Size().Width, t.clip.Size().Height)
	SetBounds(t.bar, s.Width-scrollW, headHigh+2, scrollW, s.Height-headHigh-4)
	need := int(math.Ceil(float64((s.Height-headHigh)/rowHigh))) + 1
	for len(t.drawn) < need {
		w := &tableRow{row: -1, bg: NewBox(6), line: canvas.NewRectangle(Paint(theme.ColorNameSeparator))}
		t.body.Objects = append(t.body.Objects, w.bg, w.line)
		for _, c := range t.cols {
			x := NewText("", SizeBody-1, ColText)
			x.cut, x.style.Monospace = c.Cut, c.Mono
			if c.Right {
				x.Right()
			}
			m := NewMark("note", ColIdle, 15)
			m.Hide()
			w.cells, w.marks, w.marked = append(w.cells, x), append(w.marks, m), append(w.marked, false)
			t.body.Objects = append(t.body.Objects, x, m)
		}
		t.drawn = append(t.drawn, w)
	}
	t.Top = math.Min(t.Top, t.lastTop())
	if t.Chosen >= 0 && s.Height != t.placed.Height {
		t.intoView(t.Chosen)
	}
	fresh := s.Width != t.placed.Width
	t.placed = s
	t.arrange(fresh)
}

// arrange moves the pooled rows. Row n always has place n modulo their number, so that scrolling by
// one row gives one row new texts.
func (t *Table) arrange(all bool) {
	if len(t.drawn) == 0 {
		return
	}
	n, first := t.rows(), int(t.Top)
	dy := -float32(t.Top-float64(first)) * rowHigh
	w := t.clip.Size().Width
	ring := float32(0)
	if t.focused {
		ring = 2
	}
	SetStroke(t.ring, ColAccent, ring)
	for i := range t.drawn {
		row := first + i
		v := t.drawn[row%len(t.drawn)]
		if row >= n {
			v.show(false)
			v.row = -1
			continue
		}
		y := dy + float32(i)*rowHigh
		SetBounds(v.bg, 4, y+1, w-8, rowHigh-2)
		fill := fyne.ThemeColorName("")
		switch row {
		case t.Chosen:
			fill = colChip
		case t.hover:
			fill = theme.ColorNameHover
		}
		SetFill(v.bg, fill)
		SetBounds(v.line, cellPad, y+rowHigh-1, w-2*cellPad, 1)
		fresh := all || v.row != row
		x := float32(0)
		for c := range v.cells {
			if fresh {
				v.fill(t, c, row)
			}
			v.put(c, x, y, t.widths[c], fresh)
			x += t.widths[c]
		}
		v.show(true)
		v.row = row
	}
	t.bar.update()
}

// fill gives one cell its text and mark.
func (v *tableRow) fill(t *Table, c, row int) {
	cell := t.cell(row, c)
	t.renewed++
	if cell.Color == "" {
		cell.Color = ColText
	}
	if v.marked[c] = cell.Mark != ""; v.marked[c] {
		v.marks[c].Set(cell.Mark, cell.Color)
	}
	v.cells[c].Text, v.cells[c].Color = cell.Text, cell.Color
}

// put places one cell.
func (v *tableRow) put(c int, x, y, w float32, fresh bool) {
	left := x + cellPad
	if v.marked[c] {
		SetBounds(v.marks[c], left, y+(rowHigh-15)/2, 15, 15)
		left += 22
	}
	SetVisible(v.marks[c], v.marked[c] && v.bg.Visible())
	text := v.cells[c]
	SetBounds(text, left, y, x+w-cellPad-left, rowHigh)
	if fresh {
		text.Refresh()
	}
}

func (v *tableRow) show(on bool) {
	if v.bg.Visible() == on {
		return
	}
	objects := []fyne.CanvasObject{v.bg, v.line}
	for i := range v.cells {
		objects = append(objects, v.cells[i])
		if v.marked[i] || !on {
			objects = append(objects, v.marks[i])
		}
	}
	for _, o := range objects {
		SetVisible(o, on)
	}
}

func (t *Table) Least() fyne.Size { return fyne.NewSize(320, headHigh+3*rowHigh) }

func (t *Table) Parts() []fyne.CanvasObject {
	all := []fyne.CanvasObject{t.line, t.clip}
	for _, h := range t.heads {
		all = append(all, h)
	}
	return append(all, t.bar, t.ring)
}

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
	h := &headCell{t: t, col: col, text: NewText(t.cols[col].Title, headTexts, ColMuted).Bold(), arrow: NewMark("up", ColMuted, 13), veil: NewBox(6)}
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

// Apply, Place, Least and Parts implement Drawn.
func (h *headCell) Apply() {
	c := ColMuted
	if h.t.Sorted == h.col {
		c = ColText
	}
	h.text.Color = c
	name := "up"
	if h.t.Descending {
		name = "down"
	}
	h.arrow.Set(name, c)
	SetVisible(h.arrow, h.t.Sorted == h.col && !h.Disabled())
	SetFill(h.veil, h.Veil())
	SetStroke(h.veil, ColAccent, h.Ring())
}

func (h *headCell) Place(s fyne.Size) {
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
func (h *headCell) Least() fyne.Size           { return fyne.NewSize(40, headHigh) }
func (h *headCell) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{h.veil, h.text, h.arrow} }
