package gui

import (
	"fmt"
	"math"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/theme"

	"loadline/checks"
	"loadline/gui/kit"
)

// Every text on every screen is drawn in a pair of colours that the contrast test knows. The test
// goes through what is really there, so that a new pair cannot slip by.
func TestEveryTextIsInAPair(t *testing.T) {
	known := map[fyne.ThemeColorName]bool{}
	for c := range kit.TextGrounds {
		known[c] = true
	}
	for _, m := range []kit.Mode{kit.Light, kit.Dark} {
		r := newRig(t, 1280, 800, m)
		r.done(sample())
		for _, k := range r.view().list.cards {
			k.setOpen(true)
		}
		seen := 0
		for _, o := range test.LaidOutObjects(r.win.Content()) {
			var c fyne.ThemeColorName
			switch x := o.(type) {
			case *kit.Text:
				c = x.Color
			case *kit.Paragraph:
				c = x.Color
			default:
				continue
			}
			seen++
			if !known[c] && c != theme.ColorNameDisabled {
				t.Errorf("%s: a text is drawn in %s, which stands in no pair", m, c)
			}
		}
		if seen < 60 {
			t.Errorf("only %d texts were seen", seen)
		}
	}
}

// Status is never told by colour alone: each has a shape and a word of its own.
func TestStatusByShapeAndWord(t *testing.T) {
	marks, words := map[string]checks.Status{}, map[string]checks.Status{}
	for s := checks.Passed; s <= checks.Running; s++ {
		l := statusBadge(s)
		if o, ok := marks[l.Mark]; ok {
			t.Errorf("%v and %v have the same shape", s, o)
		}
		if o, ok := words[s.Word()]; ok {
			t.Errorf("%v and %v have the same word", s, o)
		}
		marks[l.Mark], words[s.Word()] = s, s
	}
}

// The button turns what is shown into its opposite, then back to what the desktop says.
func TestTurnTheme(t *testing.T) {
	r := newRig(t, 1280, 800, kit.System)
	first := kit.IsDark()
	test.Tap(r.bar.theme)
	if kit.IsDark() == first {
		t.Fatal("the theme did not turn")
	}
	if c, err := loadChoices(r.desktop.StateDir); err != nil || c.Theme != r.theme {
		t.Errorf("the choice was not kept: %+v, %v", c, err)
	}
	r.shortcut(&desktop.CustomShortcut{KeyName: fyne.KeyD, Modifier: ctrl})
	if kit.IsDark() != first || r.theme != kit.System {
		t.Errorf("the second turn should lead back to the desktop's wish, it is %q", r.theme)
	}
}

// At every size from 200 % on a small screen (640 by 400) to 4K nothing lies over anything else and
// nothing sticks out of the window.
func TestSizes(t *testing.T) {
	for _, s := range [][2]float32{{640, 400}, {900, 600}, {1280, 800}, {1920, 1080}, {3840, 2160}} {
		t.Run(fmt.Sprintf("%vx%v", s[0], s[1]), func(t *testing.T) {
			r := newRig(t, s[0], s[1], kit.Light)
			r.done(sample())
			r.notice.Hide()
			v := r.view()
			inside := func(what string, o fyne.CanvasObject) {
				t.Helper()
				p := fyne.CurrentApp().Driver().AbsolutePositionForObject(o)
				if p.X < 0 || p.X+o.Size().Width > s[0]+0.5 {
					t.Errorf("%s goes from %v to %v", what, p.X, p.X+o.Size().Width)
				}
			}
			for name, o := range r.elements() {
				inside(name, o)
			}
			v.setup.setFolded(false)
			v.setup.options.open(true)
			for name, o := range r.elements() {
				inside(name, o)
			}
			inside("the bar's buttons", r.bar.right)
			last := r.bar.stages[checks.Arrival]
			a := fyne.CurrentApp().Driver().AbsolutePositionForObject(last).X + last.Size().Width
			if b := fyne.CurrentApp().Driver().AbsolutePositionForObject(r.bar.right).X; a > b {
				t.Errorf("the stages end at %v, the buttons begin at %v", a, b)
			}
			bottom := float32(0)
			for _, k := range v.list.cards {
				k.setOpen(true)
			}
			for _, g := range v.list.groups {
				y := g.box.Position().Y
				if y < bottom {
					t.Errorf("the group %s begins at %v, the one above ends at %v", g.name.Text, y, bottom)
				}
				bottom = y + g.box.Size().Height
			}
			for _, k := range v.list.cards {
				if want := k.HeightFor(k.Size().Width); math.Abs(float64(want-k.Size().Height)) > 0.5 {
					t.Errorf("the card %s is %v high, wants %v", k.check.ID, k.Size().Height, want)
				}
			}
		})
	}
}
