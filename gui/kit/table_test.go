package kit

import (
	"fmt"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"
)

// A million rows: the last one can be reached and is the right one, and a step through them gives
// new texts to the rows that come into view only. What that costs is counted, not timed.
func TestAMillionRows(t *testing.T) {
	test.NewTempApp(t)
	const n = 1_000_000
	cols := []Column{{Title: "Path", Mono: true, Cut: CutMiddle}, {Title: "Size", Width: 96, Right: true}}
	text := func(row, col int) string { return fmt.Sprintf("row %07d, column %d", row, col) }
	tab := NewTable(cols, func() int { return n }, func(row, col int) Cell { return Cell{Text: text(row, col)} })
	w := test.NewTempWindow(t, tab)
	w.SetPadded(false)
	w.Resize(fyne.NewSize(900, 600))

	before := tab.renewed
	tab.Choose(n - 1)
	seen := int(tab.VisibleRows()) + 2
	if cost := tab.renewed - before; cost > seen*len(cols) {
		t.Errorf("a jump to the end gave %d cells another text, want at most %d", cost, seen*len(cols))
	}
	last := tab.drawn[(n-1)%len(tab.drawn)]
	if last.cells[0].Text != text(n-1, 0) || last.row != n-1 {
		t.Errorf("the last row shows %q", last.cells[0].Text)
	}
	if y := last.bg.Position().Y + rowHigh; y > tab.Size().Height-headHigh+2 {
		t.Errorf("the last row ends at %v, below the table's %v", y, tab.Size().Height-headHigh)
	}
	before = tab.renewed
	for range 10 {
		tab.TypedKey(&fyne.KeyEvent{Name: fyne.KeyUp})
	}
	if cost := tab.renewed - before; cost != 0 {
		t.Errorf("rows that were in view were given another text: %d cells", cost)
	}
	before = tab.renewed
	tab.Scrolled(&fyne.ScrollEvent{Scrolled: fyne.NewDelta(0, 10)})
	if cost := tab.renewed - before; cost > 2*len(cols) {
		t.Errorf("one turn of the wheel gave %d cells another text", cost)
	}
	_, long := tab.bar.span()
	if long < 36 {
		t.Errorf("the thumb of the scroll bar is %v long", long)
	}
	tab.bar.Dragged(&fyne.DragEvent{Dragged: fyne.NewDelta(0, -1e6)})
	if tab.Top != 0 {
		t.Errorf("dragged to the top it stands at row %v", tab.Top)
	}
}
