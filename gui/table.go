package gui

import (
	"image/color"
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// table shows rows without end, read only. Where it stands is a row number as float64, never a
// distance in pixels: a million rows are more than float32 can place. Only what can be seen exists.
type table struct {
	widget.BaseWidget
	cols  []tableColumn
	rows  func() int
	cell  func(row, col int) tableCell
	head  func(col int) // a column's head was pressed
	moved func(row int) // another row is chosen; -1 for none
	enter func(row int) // Return or a double click
	copy  func(row int)

	sorted     int // column that the rows are sorted by
	descending bool

	top        float64 // first row shown, with its fraction
	chosen     int
	hover      int
	focused    bool
	r          *tableRenderer
	renewed    int // cells that were given another text, for tests and measurements
	headButton []*headCell
}

// tableColumn is one column; the one with width 0 takes what is left.
type tableColumn struct {
	title  string
	width  float32
	share  float32 // of the table's width, where that is more than width
	mono   bool
	right  bool
	cut    elide
	sortBy bool
}

// tableCell is what one cell shows: a text, or a mark before it.
type tableCell struct {
	text  string
	mark  string
	color fyne.ThemeColorName
}

const (
	rowHigh   = 30
	headHigh  = 34
	scrollW   = 14
	cellPad   = 12
	headTexts = sizeSmall + 1
)

func newTable(cols []tableColumn, rows func() int, cell func(row, col int) tableCell) *table {
	t := &table{cols: cols, rows: rows, cell: cell, chosen: -1, hover: -1}
	t.ExtendBaseWidget(t)
	return t
}

func (t *table) visible() float64 { return float64((t.Size().Height - headHigh) / rowHigh) }
func (t *table) lastTop() float64 { return math.Max(0, float64(t.rows())-t.visible()) }

func (t *table) setTop(v float64) {
	v = math.Min(math.Max(0, v), t.lastTop())
	if v != t.top {
		t.top = v
		t.arrange(false)
	}
}

func (t *table) arrange(all bool) {
	if t.r != nil {
		t.r.arrange(all)
	}
}

// renew is called after a filter or a sort: every cell is asked again.
func (t *table) renew() {
	if t.chosen >= t.rows() {
		t.choose(-1)
	}
	t.top = math.Min(t.top, t.lastTop())
	t.arrange(true)
	for _, h := range t.headButton {
		h.Refresh()
	}
}

// choose marks a row and brings it into view; -1 marks none.
func (t *table) choose(row int) {
	if n := t.rows(); row >= n {
		row = n - 1
	}
	if row < -1 {
		row = -1
	}
	changed := row != t.chosen
	t.chosen = row
	if row >= 0 {
		t.intoView(row)
	}
	t.arrange(false)
	if changed && t.moved != nil {
		t.moved(row)
	}
}

func (t *table) intoView(row int) {
	if float64(row) < t.top {
		t.top = float64(row)
	} else if low := float64(row+1) - t.visible(); low > t.top {
		t.top = math.Min(low, t.lastTop())
	}
}

func (t *table) rowAt(p fyne.Position) int {
	if p.Y < headHigh || p.X > t.Size().Width-scrollW {
		return -1
	}
	if r := int(t.top + float64((p.Y-headHigh)/rowHigh)); r < t.rows() {
		return r
	}
	return -1
}

// Scrolled implements fyne.Scrollable.
func (t *table) Scrolled(e *fyne.ScrollEvent) { t.setTop(t.top - float64(e.Scrolled.DY)*2.4/rowHigh) }

// MouseDown chooses the row under the pointer.
func (t *table) MouseDown(e *desktop.MouseEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(t); c != nil {
		c.Focus(t)
	}
	if r := t.rowAt(e.Position); r >= 0 {
		t.choose(r)
	}
}

// MouseUp does nothing.
func (t *table) MouseUp(*desktop.MouseEvent) {}

// DoubleTapped enters the row under the pointer.
func (t *table) DoubleTapped(e *fyne.PointEvent) {
	if r := t.rowAt(e.Position); r >= 0 && t.enter != nil {
		t.enter(r)
	}
}

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (t *table) MouseIn(e *desktop.MouseEvent) { t.MouseMoved(e) }

// MouseMoved shows the row under the pointer.
func (t *table) MouseMoved(e *desktop.MouseEvent) { t.setHover(t.rowAt(e.Position)) }

// MouseOut takes the hover away.
func (t *table) MouseOut() { t.setHover(-1) }

func (t *table) setHover(r int) {
	if r != t.hover {
		t.hover = r
		t.arrange(false)
	}
}

// FocusGained, FocusLost, TypedRune and TypedKey implement fyne.Focusable.
func (t *table) FocusGained() {
	t.focused = true
	if t.chosen < 0 && t.rows() > 0 {
		t.choose(int(math.Ceil(t.top)))
	}
	t.arrange(false)
}

// FocusLost takes the ring away.
func (t *table) FocusLost() { t.focused = false; t.arrange(false) }

// TypedRune does nothing.
func (t *table) TypedRune(rune) {}

// TypedShortcut copies the row.
func (t *table) TypedShortcut(s fyne.Shortcut) {
	if _, ok := s.(*fyne.ShortcutCopy); ok && t.copy != nil && t.chosen >= 0 {
		t.copy(t.chosen)
		return
	}
	if h, ok := fyne.CurrentApp().Driver().CanvasForObject(t).(fyne.Shortcutable); ok {
		h.TypedShortcut(s)
	}
}

// TypedKey moves through the rows.
func (t *table) TypedKey(e *fyne.KeyEvent) {
	page := max(int(t.visible())-1, 1)
	to := t.chosen
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
		if t.chosen >= 0 && t.enter != nil {
			t.enter(t.chosen)
		}
		return
	default:
		passKey(t, e)
		return
	}
	if t.rows() > 0 {
		t.choose(max(to, 0))
	}
}

type tableRow struct {
	row   int
	bg    *canvas.Rectangle
	line  *canvas.Rectangle
	cells []*textLine
	marks []*mark

	marked []bool // which cells have a mark now
}

type tableRenderer struct {
	t       *table
	line    *canvas.Rectangle
	ring    *canvas.Rectangle
	rows    []*tableRow
	body    *fyne.Container
	clip    *container.Clip
	bar     *scrollBar
	objects []fyne.CanvasObject
	widths  []float32
	size    fyne.Size
}

// CreateRenderer implements fyne.Widget.
func (t *table) CreateRenderer() fyne.WidgetRenderer {
	r := &tableRenderer{t: t, line: canvas.NewRectangle(color.Transparent), ring: canvas.NewRectangle(color.Transparent)}
	t.r = r
	r.body = container.NewWithoutLayout()
	r.clip = container.NewClip(r.body)
	r.bar = &scrollBar{t: t}
	r.bar.ExtendBaseWidget(r.bar)
	r.objects = []fyne.CanvasObject{r.line, r.clip}
	t.headButton = nil
	for i := range t.cols {
		h := &headCell{t: t, col: i}
		h.ExtendBaseWidget(h)
		t.headButton = append(t.headButton, h)
		r.objects = append(r.objects, h)
	}
	r.objects = append(r.objects, r.bar, r.ring)
	r.colours()
	return r
}

func (r *tableRenderer) colours() {
	r.line.FillColor = paint(colLine)
	r.ring.CornerRadius = radius
	for _, w := range r.rows {
		w.line.FillColor = paint(theme.ColorNameSeparator)
	}
}

func (r *tableRenderer) columnWidths(w float32) {
	r.widths = r.widths[:0]
	left, flex := w, 0
	for _, c := range r.t.cols {
		left -= max(c.width, c.share*w)
		if c.width == 0 {
			flex++
		}
	}
	for _, c := range r.t.cols {
		cw := max(c.width, c.share*w)
		if cw == 0 {
			cw = max(left/float32(flex), 60)
		}
		r.widths = append(r.widths, cw)
	}
}

// Layout implements fyne.WidgetRenderer.
func (r *tableRenderer) Layout(s fyne.Size) {
	t := r.t
	r.columnWidths(s.Width - scrollW)
	setBounds(r.line, 0, headHigh-1, s.Width, 1)
	setBounds(r.ring, 0, 0, s.Width, s.Height)
	x := float32(0)
	for i, h := range t.headButton {
		setBounds(h, x, 0, r.widths[i], headHigh)
		x += r.widths[i]
	}
	setBounds(r.clip, 0, headHigh, s.Width-scrollW, s.Height-headHigh)
	r.body.Resize(r.clip.Size())
	setBounds(r.bar, s.Width-scrollW, headHigh+2, scrollW, s.Height-headHigh-4)
	need := int(math.Ceil(float64((s.Height-headHigh)/rowHigh))) + 1
	for len(r.rows) < need {
		w := &tableRow{row: -1, bg: canvas.NewRectangle(color.Transparent), line: canvas.NewRectangle(paint(theme.ColorNameSeparator))}
		w.bg.CornerRadius = 6
		r.body.Objects = append(r.body.Objects, w.bg, w.line)
		for _, c := range t.cols {
			x := newText("", sizeBody-1, colText)
			x.cut, x.style.Monospace = c.cut, c.mono
			if c.right {
				x.right()
			}
			m := newMark("note", colIdle, 15)
			m.Hide()
			w.cells, w.marks, w.marked = append(w.cells, x), append(w.marks, m), append(w.marked, false)
			r.body.Objects = append(r.body.Objects, x, m)
		}
		r.rows = append(r.rows, w)
	}
	t.top = math.Min(t.top, t.lastTop())
	if t.chosen >= 0 && s.Height != r.size.Height {
		t.intoView(t.chosen)
	}
	fresh := s.Width != r.size.Width
	r.size = s
	r.arrange(fresh)
}

// arrange moves the pooled rows. Row n always has place n modulo their number, so that scrolling by
// one row gives one row new texts.
func (r *tableRenderer) arrange(all bool) {
	t := r.t
	if len(r.rows) == 0 {
		return
	}
	n, first := t.rows(), int(t.top)
	dy := -float32(t.top-float64(first)) * rowHigh
	w := r.clip.Size().Width
	r.ring.StrokeWidth = 0
	if t.focused {
		r.ring.StrokeColor, r.ring.StrokeWidth = paint(colAccent), 2
	}
	r.ring.Refresh()
	for i := range r.rows {
		row := first + i
		v := r.rows[row%len(r.rows)]
		if row >= n {
			v.show(false)
			v.row = -1
			continue
		}
		y := dy + float32(i)*rowHigh
		setBounds(v.bg, 4, y+1, w-8, rowHigh-2)
		fill := color.Color(color.Transparent)
		switch row {
		case t.chosen:
			fill = paint(colChip)
		case t.hover:
			fill = paint(theme.ColorNameHover)
		}
		if v.bg.FillColor != fill {
			v.bg.FillColor = fill
			v.bg.Refresh()
		}
		setBounds(v.line, cellPad, y+rowHigh-1, w-2*cellPad, 1)
		fresh := all || v.row != row
		x := float32(0)
		for c := range v.cells {
			if fresh {
				v.fill(t, c, row)
			}
			v.put(c, x, y, r.widths[c], fresh)
			x += r.widths[c]
		}
		v.show(true)
		v.row = row
	}
	r.bar.Refresh()
}

// fill gives one cell its text and mark.
func (v *tableRow) fill(t *table, c, row int) {
	cell := t.cell(row, c)
	t.renewed++
	if cell.color == "" {
		cell.color = colText
	}
	if v.marked[c] = cell.mark != ""; v.marked[c] {
		v.marks[c].set(cell.mark, cell.color)
	}
	v.cells[c].text, v.cells[c].color = cell.text, cell.color
}

// put places one cell.
func (v *tableRow) put(c int, x, y, w float32, fresh bool) {
	left := x + cellPad
	if v.marked[c] {
		setBounds(v.marks[c], left, y+(rowHigh-15)/2, 15, 15)
		left += 22
	}
	if v.marks[c].Visible() != (v.marked[c] && v.bg.Visible()) {
		if v.marks[c].Hidden {
			v.marks[c].Show()
		} else {
			v.marks[c].Hide()
		}
	}
	text := v.cells[c]
	text.Move(fyne.NewPos(left, y))
	size := fyne.NewSize(x+w-cellPad-left, rowHigh)
	if text.Size() != size {
		text.Resize(size)
	}
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
		if on {
			o.Show()
		} else {
			o.Hide()
		}
	}
}

// MinSize, Refresh, Objects and Destroy implement fyne.WidgetRenderer.
func (r *tableRenderer) MinSize() fyne.Size { return fyne.NewSize(320, headHigh+3*rowHigh) }

// Refresh draws everything anew.
func (r *tableRenderer) Refresh() {
	r.colours()
	for _, h := range r.t.headButton {
		h.Refresh()
	}
	for _, w := range r.rows {
		w.line.Refresh()
		for _, m := range w.marks {
			m.Refresh()
		}
	}
	r.line.Refresh()
	r.arrange(true)
}

// Objects returns what is drawn.
func (r *tableRenderer) Objects() []fyne.CanvasObject { return r.objects }

// Destroy does nothing.
func (r *tableRenderer) Destroy() {}
