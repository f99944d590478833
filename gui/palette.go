package gui

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/theme"
)

// Our colour names, beside those of Fyne. Text is only ever drawn in the pairs that inPairs lists.
const (
	colSurface fyne.ThemeColorName = "loadlineSurface" // panels
	colInset   fyne.ThemeColorName = "loadlineInset"   // what lies deeper than a panel
	colLine    fyne.ThemeColorName = "loadlineLine"    // borders and rules
	colMuted   fyne.ThemeColorName = "loadlineMuted"   // text of second rank
	colPass    fyne.ThemeColorName = "loadlinePass"
	colWarn    fyne.ThemeColorName = "loadlineWarn"
	colFail    fyne.ThemeColorName = "loadlineFail"
	colUnknown fyne.ThemeColorName = "loadlineUnknown"
	colIdle    fyne.ThemeColorName = "loadlineIdle" // waiting
	colUsed    fyne.ThemeColorName = "loadlineUsed" // taken space on a gauge
	colMark    fyne.ThemeColorName = "loadlineMark" // the load line
	colDim     fyne.ThemeColorName = "loadlineDim"  // over the window while a question is asked
	colChip    fyne.ThemeColorName = "loadlineChip" // what is chosen: a stage, a filter, a row
	colText                        = theme.ColorNameForeground
	colAccent                      = theme.ColorNamePrimary
	colGround                      = theme.ColorNameBackground
	colOnFill                      = theme.ColorNameForegroundOnPrimary
)

type palette map[fyne.ThemeColorName]color.NRGBA

func hex(v uint32) color.NRGBA {
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

func veil(v uint32, alpha uint8) color.NRGBA {
	c := hex(v)
	c.A = alpha
	return c
}

var lightPalette = palette{
	colGround: hex(0xF3F4F1), colSurface: hex(0xFFFFFF), colInset: hex(0xEBEEEA), colLine: hex(0xD9DDD7),
	colText: hex(0x14201F), colMuted: hex(0x51605D), colAccent: hex(0x0E6470), colOnFill: hex(0xFFFFFF),
	colPass: hex(0x1A6B3E), colWarn: hex(0x8A5300), colFail: hex(0xB3261E), colUnknown: hex(0x5B4B9A),
	colIdle: hex(0x5A6764), colUsed: hex(0xA9B4B0), colMark: hex(0xB8690A), colChip: hex(0xDCECEC), colDim: veil(0x0B1716, 96),
	theme.ColorNameButton: hex(0xE6EAE6), theme.ColorNameHover: veil(0x14201F, 16), theme.ColorNamePressed: veil(0x14201F, 32),
	theme.ColorNameInputBackground: hex(0xFFFFFF), theme.ColorNameInputBorder: hex(0x7F8B86), theme.ColorNamePlaceHolder: hex(0x5F6D6A),
	theme.ColorNameDisabled: hex(0x8C9894), theme.ColorNameDisabledButton: hex(0xEBEEEA), theme.ColorNameSeparator: hex(0xE4E7E2),
	theme.ColorNameScrollBar: veil(0x14201F, 90), theme.ColorNameScrollBarBackground: veil(0, 0), theme.ColorNameSelection: veil(0x0E6470, 48),
	theme.ColorNameFocus: veil(0x0E6470, 60), theme.ColorNameShadow: veil(0x0B1716, 40), theme.ColorNameOverlayBackground: hex(0xFFFFFF),
	theme.ColorNameMenuBackground: hex(0xFFFFFF), theme.ColorNameHeaderBackground: hex(0xF3F4F1),
	theme.ColorNameSuccess: hex(0x1A6B3E), theme.ColorNameWarning: hex(0x8A5300), theme.ColorNameError: hex(0xB3261E),
	theme.ColorNameHyperlink: hex(0x0E6470),
}

var darkPalette = palette{
	colGround: hex(0x0F1416), colSurface: hex(0x171D20), colInset: hex(0x20282B), colLine: hex(0x2C363A),
	colText: hex(0xE6ECEB), colMuted: hex(0xA2AFAD), colAccent: hex(0x74C9D3), colOnFill: hex(0x06262B),
	colPass: hex(0x6BCB94), colWarn: hex(0xEDB95E), colFail: hex(0xFF9289), colUnknown: hex(0xB9ABF4),
	colIdle: hex(0x96A4A2), colUsed: hex(0x4F5C60), colMark: hex(0xFFC864), colChip: hex(0x1C3A3F), colDim: veil(0, 150),
	theme.ColorNameButton: hex(0x262F33), theme.ColorNameHover: veil(0xFFFFFF, 18), theme.ColorNamePressed: veil(0xFFFFFF, 34),
	theme.ColorNameInputBackground: hex(0x11171A), theme.ColorNameInputBorder: hex(0x65737A), theme.ColorNamePlaceHolder: hex(0x8E9C9A),
	theme.ColorNameDisabled: hex(0x64706E), theme.ColorNameDisabledButton: hex(0x20282B), theme.ColorNameSeparator: hex(0x252E31),
	theme.ColorNameScrollBar: veil(0xFFFFFF, 90), theme.ColorNameScrollBarBackground: veil(0, 0), theme.ColorNameSelection: veil(0x74C9D3, 60),
	theme.ColorNameFocus: veil(0x74C9D3, 70), theme.ColorNameShadow: veil(0, 140), theme.ColorNameOverlayBackground: hex(0x1B2225),
	theme.ColorNameMenuBackground: hex(0x1B2225), theme.ColorNameHeaderBackground: hex(0x141A1C),
	theme.ColorNameSuccess: hex(0x6BCB94), theme.ColorNameWarning: hex(0xEDB95E), theme.ColorNameError: hex(0xFF9289),
	theme.ColorNameHyperlink: hex(0x74C9D3),
}

// inPairs lists every text colour with every colour that it stands on. The contrast test holds each
// pair to WCAG 2.2, success criterion 1.4.3 (4.5 to 1).
var inPairs = [][2]fyne.ThemeColorName{
	{colText, colGround},
	{colText, colSurface},
	{colText, colInset},
	{colText, colChip},
	{colText, theme.ColorNameButton},
	{colText, theme.ColorNameInputBackground},
	{colText, theme.ColorNameOverlayBackground},
	{colText, theme.ColorNameMenuBackground},
	{colMuted, colGround},
	{colMuted, colSurface},
	{colMuted, colInset},
	{colMuted, theme.ColorNameOverlayBackground},
	{colAccent, colSurface},
	{colAccent, colGround},
	{colAccent, colInset},
	{colAccent, colChip},
	{colOnFill, colAccent},
	{colOnFill, colFail},
	{colPass, colSurface},
	{colPass, colGround},
	{colPass, colInset},
	{colWarn, colSurface},
	{colWarn, colGround},
	{colWarn, colInset},
	{colFail, colSurface},
	{colFail, colGround},
	{colFail, colInset},
	{colFail, theme.ColorNameOverlayBackground},
	{colUnknown, colSurface},
	{colUnknown, colGround},
	{colUnknown, colInset},
	{colIdle, colSurface},
	{colIdle, colGround},
	{theme.ColorNamePlaceHolder, theme.ColorNameInputBackground},
}

// rowPairs are the texts of a chosen row, which does not change under the pointer (table.arrange): 4.5
// to 1 as well.
var rowPairs = [][2]fyne.ThemeColorName{
	{colMuted, colChip},
	{colWarn, colChip},
	{colFail, colChip},
	{colIdle, colChip},
}

// graphicPairs are shapes and the colour around them: WCAG 2.2, success criterion 1.4.11 (3 to 1).
var graphicPairs = [][2]fyne.ThemeColorName{
	{colMark, colSurface},
	{colMark, colInset},
	{colAccent, colInset},
	{colAccent, colSurface},
	{colAccent, colGround}, // the ring around what has the keyboard
	{theme.ColorNameInputBorder, colSurface},
	{theme.ColorNameInputBorder, colGround},
	{theme.ColorNameInputBorder, theme.ColorNameInputBackground},
}
