package gui

import (
	"fmt"
	"image/color"
	"math"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/theme"

	"loadline/checks"
)

// luminance is the relative luminance of WCAG 2.2.
func luminance(c color.NRGBA) float64 {
	part := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}

// contrast is the contrast ratio of WCAG 2.2.
func contrast(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// over is a colour with alpha laid over another.
func over(a, b color.NRGBA) color.NRGBA {
	mix := func(x, y uint8) uint8 {
		return uint8((int(x)*int(a.A) + int(y)*(255-int(a.A)) + 127) / 255)
	}
	return color.NRGBA{R: mix(a.R, b.R), G: mix(a.G, b.G), B: mix(a.B, b.B), A: 255}
}

// The formula gives the values of WCAG 2.2's own definition: 21 for black on white, 1 for a colour
// on itself; #767676 on white is the usual example of just over 4.5.
func TestContrastFormula(t *testing.T) {
	for _, c := range []struct {
		a, b uint32
		want float64
	}{{0x000000, 0xFFFFFF, 21}, {0x336699, 0x336699, 1}, {0x767676, 0xFFFFFF, 4.54}} {
		if got := contrast(hex(c.a), hex(c.b)); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%06x on %06x: %.3f, want %.2f", c.a, c.b, got, c.want)
		}
	}
}

// Text is readable in both variants: 4.5 to 1 (WCAG 2.2, 1.4.3), shapes 3 to 1 (1.4.11), also while
// the pointer is over what carries them.
func TestContrast(t *testing.T) {
	for variant, p := range map[string]palette{"light": lightPalette, "dark": darkPalette} {
		hover := p[theme.ColorNameHover]
		for _, k := range inPairs {
			if r := contrast(p[k[0]], p[k[1]]); r < 4.5 {
				t.Errorf("%s: %s on %s is %.2f:1, want 4.5", variant, k[0], k[1], r)
			}
			if r := contrast(p[k[0]], over(hover, p[k[1]])); r < 4.5 {
				t.Errorf("%s: %s on %s under the pointer is %.2f:1, want 4.5", variant, k[0], k[1], r)
			}
		}
		for _, k := range rowPairs {
			if r := contrast(p[k[0]], p[k[1]]); r < 4.5 {
				t.Errorf("%s: %s on a chosen row is %.2f:1, want 4.5", variant, k[0], r)
			}
		}
		for _, k := range graphicPairs {
			if r := contrast(p[k[0]], p[k[1]]); r < 3 {
				t.Errorf("%s: the shape %s on %s is %.2f:1, want 3", variant, k[0], k[1], r)
			}
		}
		other := darkPalette
		if variant == "dark" {
			other = lightPalette
		}
		for n := range p {
			if _, ok := other[n]; !ok {
				t.Errorf("%s stands in the %s table only", n, variant)
			}
		}
	}
}

// Every text on every screen is drawn in a pair of colours that the contrast test knows. The test
// goes through what is really there, so that a new pair cannot slip by.
func TestEveryTextIsInAPair(t *testing.T) {
	known := map[fyne.ThemeColorName]bool{}
	for _, k := range inPairs {
		known[k[0]] = true
	}
	for _, m := range []Mode{Light, Dark} {
		r := newRig(t, 1280, 800, m)
		r.done(sample())
		for _, k := range r.view().ledger.cards {
			k.setOpen(true)
		}
		seen := 0
		for _, o := range test.LaidOutObjects(r.win.Content()) {
			var c fyne.ThemeColorName
			switch x := o.(type) {
			case *textLine:
				c = x.color
			case *paragraph:
				c = x.color
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
		l := lookOf(s)
		if o, ok := marks[l.mark]; ok {
			t.Errorf("%v and %v have the same shape", s, o)
		}
		if o, ok := words[s.Word()]; ok {
			t.Errorf("%v and %v have the same word", s, o)
		}
		marks[l.mark], words[s.Word()] = s, s
	}
}

// The button turns what is shown into its opposite, then back to what the desktop says.
func TestTurnTheme(t *testing.T) {
	r := newRig(t, 1280, 800, System)
	first := isDark()
	test.Tap(r.bar.theme)
	if isDark() == first {
		t.Fatal("the theme did not turn")
	}
	if c, err := loadChoices(r.desk.StateDir); err != nil || c.Theme != r.theme {
		t.Errorf("the choice was not kept: %+v, %v", c, err)
	}
	r.shortcut(&desktop.CustomShortcut{KeyName: fyne.KeyD, Modifier: ctrl})
	if isDark() != first || r.theme != System {
		t.Errorf("the second turn should lead back to the desktop's wish, it is %q", r.theme)
	}
}

// At every size from 200 % on a small screen (640 by 400) to 4K nothing lies over anything else and
// nothing sticks out of the window.
func TestSizes(t *testing.T) {
	for _, s := range [][2]float32{{640, 400}, {900, 600}, {1280, 800}, {1920, 1080}, {3840, 2160}} {
		t.Run(fmt.Sprintf("%vx%v", s[0], s[1]), func(t *testing.T) {
			r := newRig(t, s[0], s[1], Light)
			r.done(sample())
			r.notice.hide()
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
			inside("the bar's buttons", r.bar.right)
			last := r.bar.stages[checks.Arrival]
			a := fyne.CurrentApp().Driver().AbsolutePositionForObject(last).X + last.Size().Width
			if b := fyne.CurrentApp().Driver().AbsolutePositionForObject(r.bar.right).X; a > b {
				t.Errorf("the stages end at %v, the buttons begin at %v", a, b)
			}
			bottom := float32(0)
			for _, k := range v.ledger.cards {
				k.setOpen(true)
			}
			for _, g := range v.ledger.groups {
				y := g.box.Position().Y
				if y < bottom {
					t.Errorf("the group %s begins at %v, the one above ends at %v", g.name.text, y, bottom)
				}
				bottom = y + g.box.Size().Height
			}
			for _, k := range v.ledger.cards {
				if want := k.heightFor(k.Size().Width); math.Abs(float64(want-k.Size().Height)) > 0.5 {
					t.Errorf("the card %s is %v high, wants %v", k.check.ID, k.Size().Height, want)
				}
			}
		})
	}
}
