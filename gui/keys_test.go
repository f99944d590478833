package gui

import (
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/gui/kit"
)

// Tab goes through everything in the order in which it is read, and what has the keyboard shows it.
func TestTabOrder(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(sample())
	c := r.win.Canvas()
	v := r.view()
	want := []fyne.Focusable{
		r.bar.stages[checks.Before], r.bar.stages[checks.After], r.bar.stages[checks.Arrival],
		r.bar.fix, r.bar.boxes, r.bar.last, r.bar.save, r.bar.keys, r.bar.theme,
		v.head.files, v.head.check,
		v.setup.fold,
	}
	for _, k := range v.list.cards {
		want = append(want, k)
	}
	c.Unfocus()
	for i, f := range want {
		test.FocusNext(c)
		if c.Focused() != f {
			t.Fatalf("Tab number %d leads to %T, want %T", i+1, c.Focused(), f)
		}
		if k, ok := f.(*card); ok && !hasRing(k) {
			t.Errorf("the card %s has the keyboard and does not show it", k.check.ID)
		}
		if b, ok := f.(*kit.Button); ok && !hasRing(b) {
			t.Errorf("the button %q has the keyboard and does not show it", b.Label)
		}
	}
	last := v.list.cards[len(v.list.cards)-1]
	if _, seen := r.snapshot().At["card:"+last.check.ID]; !seen {
		t.Error("the card with the keyboard is out of view")
	}
}

// hasRing reports whether a widget shows that it has the keyboard.
func hasRing(w fyne.Widget) bool {
	return slices.ContainsFunc(test.WidgetRenderer(w).Objects(), func(o fyne.CanvasObject) bool {
		r, ok := o.(*canvas.Rectangle)
		return ok && r.StrokeWidth == 2
	})
}

// Arrows go from card to card; Return, space, right and left open and shut.
func TestCardsByKeyboard(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(sample())
	c := r.win.Canvas()
	c.Unfocus()
	cards := r.view().list.cards
	r.key(fyne.KeyDown)
	r.key(fyne.KeyDown)
	if c.Focused() != cards[1] {
		t.Fatalf("two times down leads to %T", c.Focused())
	}
	for _, k := range []struct {
		key  fyne.KeyName
		open bool
	}{{fyne.KeyReturn, true}, {fyne.KeySpace, false}, {fyne.KeyRight, true}, {fyne.KeyRight, true}, {fyne.KeyLeft, false}} {
		if r.key(k.key); cards[1].open != k.open {
			t.Errorf("after %s the card is open: %v", k.key, cards[1].open)
		}
	}
	r.key(fyne.KeyUp)
	if c.Focused() != cards[0] {
		t.Error("up should lead to the first card")
	}
	test.Tap(cards[0])
	if !cards[0].open {
		t.Error("a press on the head should open the card")
	}
	cards[0].Tapped(&fyne.PointEvent{Position: fyne.NewPos(100, cards[0].Size().Height-4)})
	if !cards[0].open {
		t.Error("a press into the open card should not shut it")
	}
}

// Shortcuts work wherever the keyboard is, in a text field too.
func TestShortcutsFromAField(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(sampleSource, sampleShare)
	r.win.Canvas().Focus(r.view().setup.from.path)
	r.view().setup.from.path.TypedShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyR, Modifier: ctrl})
	c := r.began()
	c.end <- ending{rep: sample()}
	r.until("the end", func() bool { return r.running == "" })
	r.view().setup.setFolded(false)
	r.win.Canvas().Focus(r.view().setup.from.path)
	r.key(fyne.KeyF1)
	if r.sheet == nil || r.sheet.Name != "keys" {
		t.Fatal("F1 should list the keys")
	}
	r.key(fyne.KeyEscape)
	if r.sheet != nil || r.win.Canvas().Focused() != r.view().setup.from.path {
		t.Error("Escape should close the list and give the keyboard back")
	}
}

// Every shortcut that is listed for people does something, and no two are alike.
func TestBindings(t *testing.T) {
	seen := map[[2]any]bool{}
	for _, b := range bindings {
		if b.do == nil {
			continue
		}
		k := [2]any{b.key, b.mod}
		if seen[k] {
			t.Errorf("%s stands twice", b.key)
		}
		seen[k] = true
	}
	r := newRig(t, 1280, 800, kit.Light)
	for i, s := range []checks.Stage{checks.Before, checks.After, checks.Arrival} {
		r.shortcut(&desktop.CustomShortcut{KeyName: fyne.KeyName(rune('1' + i)), Modifier: ctrl})
		if r.stage != s {
			t.Errorf("Ctrl+%d leads to %q", i+1, r.stage)
		}
	}
}

// Before a check Tab goes through the places, and through the options where they are open.
func TestTabOrderOfSetup(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(sampleSource, sampleShare)
	c, s := r.win.Canvas(), r.view().setup
	o := s.options
	for _, open := range []bool{false, true} {
		o.open(open)
		want := []fyne.Focusable{s.from.path, s.from.choose, s.disks.add, s.to.path, s.to.choose, o.prefix, o.fold}
		if open {
			want = append(want, o.list, o.uplink, o.battery, o.link)
		}
		c.Focus(r.view().head.check)
		for i, f := range append(want, r.view().list.cards[0]) {
			test.FocusNext(c)
			if c.Focused() != f {
				t.Fatalf("open %v: Tab number %d leads to %T, want %T", open, i+1, c.Focused(), f)
			}
		}
	}
}

// When a check has ended, one line stands for the set-up; a press opens it, with the keyboard in the
// disk's field. Cards have the page.
func TestSetupFolds(t *testing.T) {
	for _, size := range [][2]float32{{1280, 800}, {900, 600}} {
		r := newRig(t, size[0], size[1], kit.Light)
		r.Open(sampleSource, sampleShare)
		v := r.view()
		v.setup.options.prefix.SetText("2026-harvest")
		c := r.win.Canvas()
		c.Focus(v.setup.from.path)
		r.key(fyne.KeyReturn)
		r.began().end <- ending{rep: sample()}
		r.until("the end", func() bool { return r.running == "" })
		if !v.setup.folded() || c.Focused() != v.head.files {
			t.Fatalf("folded: %v, the keyboard is at %T", v.setup.folded(), c.Focused())
		}
		if got := v.setup.fold.Text(); !strings.HasPrefix(got, "harvest film (412,906 files") || !strings.Contains(got, "→  box.invalid:/export, folder 2026-harvest") {
			t.Errorf("the line says %q", got)
		}
		at, cards := r.snapshot().At, 0
		for name := range at {
			if strings.HasPrefix(name, "card:") {
				cards++
			}
		}
		if _, ok := at["share"]; ok || at["source"] == [4]int{} || cards < 5 { // the sample's have a group each
			t.Errorf("%v: in view are %d cards, and %v", size, cards, at)
		}
		test.Tap(v.setup.fold)
		if v.setup.folded() || c.Focused() != v.setup.from.path {
			t.Errorf("pressed, it is folded: %v, the keyboard is at %T", v.setup.folded(), c.Focused())
		}
		if v.report == nil {
			t.Error("to look at the set-up changes nothing")
		}
	}
}
