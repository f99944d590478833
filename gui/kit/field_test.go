package kit

import (
	"math"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"
)

// The cursor stands after the text that was typed, follows the keys, stays in the field where the text
// is longer, and is there only with the keyboard.
func TestCursor(t *testing.T) {
	test.NewTempApp(t)
	f := NewField("hint")
	w := test.NewTempWindow(t, f.Framed())
	w.Resize(fyne.NewSize(300, 60))
	c := w.Canvas()
	if f.cursor.Visible() {
		t.Error("a cursor without the keyboard")
	}
	c.Focus(f)
	test.Type(f, "take 1")
	if !f.cursor.Visible() {
		t.Fatal("no cursor")
	}
	end := f.cursor.Position().X
	if want := f.scroll.Position().X + Measure("take 1", SizeBody, f.TextStyle).Width; math.Abs(float64(end-want)) > 12 {
		t.Errorf("after the text it stands at %v, want about %v", end, want)
	}
	f.TypedKey(&fyne.KeyEvent{Name: fyne.KeyHome})
	home := f.cursor.Position().X
	if home >= end-20 {
		t.Errorf("at the head it stands at %v, at the end it stood at %v", home, end)
	}
	test.Type(f, strings.Repeat("a long folder/", 20))
	if x := f.cursor.Position().X; !f.cursor.Visible() || x < 100 || x > f.Size().Width {
		t.Errorf("in a long text it stands at %v of %v, seen: %v", x, f.Size().Width, f.cursor.Visible())
	}
	c.Unfocus()
	if f.cursor.Visible() {
		t.Error("it stays when the keyboard is gone")
	}
}
