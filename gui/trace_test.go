package gui

import (
	"testing"

	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

// The places in the trace are those that the toolkit gives, and what is scrolled out of view has none.
func TestTraceRectangles(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(sample())
	r.view().list.cards[0].setOpen(true)
	at := r.snapshot().At
	inset, _ := r.win.Canvas().InteractiveArea() // what the test driver takes off
	seen := 0
	for name, o := range r.elements() {
		p := fyne.CurrentApp().Driver().AbsolutePositionForObject(o).Add(inset)
		got, ok := at[name]
		if !ok {
			continue
		}
		seen++
		if max(got[0]-int(p.X), int(p.X)-got[0], got[1]-int(p.Y), int(p.Y)-got[1]) > 1 {
			t.Errorf("%s stands at %v, the toolkit says %v", name, got, p)
		}
	}
	if _, ok := at["card:copy-time"]; ok || seen < 15 {
		t.Errorf("%d elements are in view, the last card is: %v", seen, ok)
	}
}

func BenchmarkTrace(b *testing.B) {
	r := newRig(b, 1280, 800, kit.Light)
	r.done(sample())
	for b.Loop() {
		r.snapshot()
	}
}
