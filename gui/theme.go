// Package gui is the window: choosing source and share, the cards, the flagged files, the repairs.
// It renders what checks reports and computes no verdict of its own. Nothing here imports fyne/app,
// so that its tests need neither a display nor a C compiler.
package gui

import (
	"image/color"
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
type Theme struct{ Mode Mode }

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

// Size implements fyne.Theme.
func (t *Theme) Size(n fyne.ThemeSizeName) float32 {
	switch n {
	case theme.SizeNameText:
		return sizeBody
	case theme.SizeNameCaptionText:
		return sizeSmall
	case theme.SizeNameSubHeadingText:
		return sizeTitle
	case theme.SizeNameHeadingText:
		return sizeVerdict
	case theme.SizeNamePadding:
		return 4
	case theme.SizeNameInnerPadding:
		return 8
	case theme.SizeNameInputRadius:
		return 7
	case theme.SizeNameSelectionRadius:
		return 5
	case theme.SizeNameScrollBar:
		return 10
	case theme.SizeNameScrollBarSmall:
		return 5
	case theme.SizeNameInlineIcon:
		return 18
	}
	return theme.DefaultTheme().Size(n)
}

// Sizes of text and the steps of space between things.
const (
	sizeSmall   = 12
	sizeBody    = 14
	sizeTitle   = 15
	sizeVerdict = 25

	gapTiny  = 4
	gapSmall = 8
	gapMid   = 14
	gapWide  = 22
	radius   = 10
)

// paint returns a colour of the current theme.
func paint(n fyne.ThemeColorName) color.Color {
	if n == "" {
		return color.Transparent
	}
	s := fyne.CurrentApp().Settings()
	return s.Theme().Color(n, s.ThemeVariant())
}

// isDark reports what is shown now.
func isDark() bool {
	s := fyne.CurrentApp().Settings()
	v := s.ThemeVariant()
	if t, ok := s.Theme().(*Theme); ok {
		v = t.variant(v)
	}
	return v == theme.VariantDark
}
