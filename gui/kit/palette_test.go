package kit

import (
	"image/color"
	"math"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/theme"
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
		for text, grounds := range TextGrounds {
			for _, ground := range grounds {
				if r := contrast(p[text], p[ground]); r < 4.5 {
					t.Errorf("%s: %s on %s is %.2f:1, want 4.5", variant, text, ground, r)
				}
				if r := contrast(p[text], over(hover, p[ground])); r < 4.5 {
					t.Errorf("%s: %s on %s under the pointer is %.2f:1, want 4.5", variant, text, ground, r)
				}
			}
		}
		// A chosen row does not change under the pointer (Table.arrange).
		for _, text := range []fyne.ThemeColorName{ColMuted, ColWarn, ColFail, ColIdle} {
			if r := contrast(p[text], p[colChip]); r < 4.5 {
				t.Errorf("%s: %s on a chosen row is %.2f:1, want 4.5", variant, text, r)
			}
		}
		for shape, grounds := range map[fyne.ThemeColorName][]fyne.ThemeColorName{
			ColMark:                    {ColSurface, ColInset},
			ColAccent:                  {ColInset, ColSurface, ColGround}, // on the ground: the ring around what has the keyboard
			theme.ColorNameInputBorder: {ColSurface, ColGround, theme.ColorNameInputBackground},
		} {
			for _, ground := range grounds {
				if r := contrast(p[shape], p[ground]); r < 3 {
					t.Errorf("%s: the shape %s on %s is %.2f:1, want 3", variant, shape, ground, r)
				}
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
