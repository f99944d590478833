package kit

import (
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"
)

// Choices are pressed, and stepped through by the arrows; other keys go to the window.
func TestChoice(t *testing.T) {
	test.NewTempApp(t)
	pressed, steps := 0, 0
	c := NewChoice("Box 1", func() { pressed++ })
	c.Bar = &Fill{Part: 0.5, Line: 0.9, Color: ColAccent}
	c.OnStep = func(d int) { steps += d }
	w := test.NewTempWindow(t, c)
	w.Resize(fyne.NewSize(300, 120))
	passed := fyne.KeyName("")
	w.Canvas().SetOnTypedKey(func(e *fyne.KeyEvent) { passed = e.Name })
	w.Canvas().Focus(c)
	for _, k := range []fyne.KeyName{fyne.KeyReturn, fyne.KeySpace, fyne.KeyDown, fyne.KeyDown, fyne.KeyUp, fyne.KeyEscape} {
		c.TypedKey(&fyne.KeyEvent{Name: k})
	}
	test.Tap(c)
	if pressed != 3 || steps != 1 || passed != fyne.KeyEscape {
		t.Errorf("pressed %d times, %d steps, the window got %q", pressed, steps, passed)
	}
	if c.veil.StrokeWidth != 2 {
		t.Error("it does not show that it has the keyboard")
	}
	if got, want := c.fill.Size().Width, c.bed.Size().Width/2; got != want {
		t.Errorf("half full is drawn %v wide, want %v", got, want)
	}
}

// What stands above a page scrolls along where it would leave too little of the rest, and something new on
// it is brought into view.
func TestPageWithMuchAbove(t *testing.T) {
	test.NewTempApp(t)
	block := func(h float32) fyne.CanvasObject { return NewSized(0, h, NewText("", SizeBody, ColText)) }
	above := NewColumn(0, block(300))
	p := NewPage(NewColumn(0, block(900)))
	p.SetAbove(above, 200)
	w := test.NewTempWindow(t, p)
	w.SetPadded(false)
	w.Resize(fyne.NewSize(800, 500))
	if p.Scrolls(above) {
		t.Error("with room it should keep its place")
	}
	row := block(80)
	above.Objects = append(above.Objects, block(400), row)
	p.Reflow()
	if !p.Scrolls(above) {
		t.Error("without room it should scroll")
	}
	p.Bring(row)
	if y := p.Offset(); y < 300+400+80-500 || y > 300+400 {
		t.Errorf("it is scrolled to %v", y)
	}
	above.Objects = above.Objects[:1]
	p.Reflow()
	if p.Scrolls(above) {
		t.Error("with room again it should keep its place")
	}
}
