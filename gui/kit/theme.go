// Package kit holds the widgets of the window: text, buttons, fields, tables, panels, drawings, the
// layouts that place them and the theme that colours them. It knows nothing of checks. Its widgets
// are drawn from what their fields say: a setter that changes nothing draws nothing.
package kit

import (
	"image/color"
	"strings"
	"sync"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/theme"

	"loadline/assets"
)

// Mode is the person's wish for light or dark.
type Mode string

// The modes. System follows the desktop.
const (
	System Mode = ""
	Light  Mode = "light"
	Dark   Mode = "dark"
)

// Theme is the whole look: colours, sizes and fonts.
type Theme struct {
	Mode Mode
	// Dialog shows scroll bars and shadows of the toolkit's own dialogs. Else they are not drawn: they
	// would lie over every text field whose text is longer than the field.
	Dialog bool
}

var _ fyne.Theme = (*Theme)(nil)

var fonts = sync.OnceValue(func() map[string]fyne.Resource {
	m := map[string]fyne.Resource{}
	for _, n := range []string{assets.FontRegular, assets.FontBold, assets.FontMono} {
		m[n] = fyne.NewStaticResource(n, assets.Font(n))
	}
	return m
})

// variant is what Mode makes of the desktop's wish.
func (t *Theme) variant(v fyne.ThemeVariant) fyne.ThemeVariant {
	switch t.Mode {
	case Light:
		return theme.VariantLight
	case Dark:
		return theme.VariantDark
	}
	return v
}

// Color implements fyne.Theme.
func (t *Theme) Color(n fyne.ThemeColorName, v fyne.ThemeVariant) color.Color {
	if (n == theme.ColorNameScrollBar || n == theme.ColorNameShadow) && !t.Dialog {
		return color.Transparent
	}
	v = t.variant(v)
	p := darkPalette
	if v == theme.VariantLight {
		p = lightPalette
	}
	if c, ok := p[n]; ok {
		return c
	}
	return theme.DefaultTheme().Color(n, v)
}

// Font implements fyne.Theme.
func (t *Theme) Font(s fyne.TextStyle) fyne.Resource {
	switch {
	case s.Symbol:
		return theme.DefaultTheme().Font(s)
	case s.Monospace:
		return fonts()[assets.FontMono]
	case s.Bold:
		return fonts()[assets.FontBold]
	}
	return fonts()[assets.FontRegular]
}

// Icon implements fyne.Theme.
func (t *Theme) Icon(n fyne.ThemeIconName) fyne.Resource { return theme.DefaultTheme().Icon(n) }

// sizes are those that differ from the toolkit's own.
var sizes = map[fyne.ThemeSizeName]float32{
	theme.SizeNameText:            SizeBody,
	theme.SizeNameCaptionText:     SizeSmall,
	theme.SizeNameSubHeadingText:  SizeTitle,
	theme.SizeNameHeadingText:     SizeVerdict,
	theme.SizeNamePadding:         4,
	theme.SizeNameInnerPadding:    8,
	theme.SizeNameInputBorder:     0, // fields have a frame of their own
	theme.SizeNameInputRadius:     7,
	theme.SizeNameSelectionRadius: 5,
	theme.SizeNameScrollBar:       10,
	theme.SizeNameScrollBarSmall:  5,
	theme.SizeNameInlineIcon:      18,
}

// Size implements fyne.Theme.
func (t *Theme) Size(n fyne.ThemeSizeName) float32 {
	if size, ok := sizes[n]; ok {
		return size
	}
	return theme.DefaultTheme().Size(n)
}

// Sizes of text and the steps of space between things.
const (
	SizeSmall   = 12
	SizeBody    = 14
	SizeTitle   = 15
	SizeVerdict = 25

	GapSmall = 8
	GapMid   = 14
	radius   = 10
)

// Paint returns a colour of the current theme.
func Paint(n fyne.ThemeColorName) color.Color {
	if n == "" {
		return color.Transparent
	}
	s := fyne.CurrentApp().Settings()
	t := s.Theme()
	if strings.HasPrefix(string(n), ownColour) { // no other theme knows it
		if _, ok := t.(*Theme); !ok {
			t = &Theme{}
		}
	}
	return t.Color(n, s.ThemeVariant())
}

// IsDark reports what is shown now.
func IsDark() bool {
	s := fyne.CurrentApp().Settings()
	v := s.ThemeVariant()
	if t, ok := s.Theme().(*Theme); ok {
		v = t.variant(v)
	}
	return v == theme.VariantDark
}
