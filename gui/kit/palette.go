package kit

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/theme"
)

// ownColour begins the names of our own colours.
const ownColour = "loadline"

// Our colour names, beside those of Fyne. Text is only ever drawn on the colours that TextGrounds lists.
const (
	ColSurface fyne.ThemeColorName = "loadlineSurface" // panels
	ColInset   fyne.ThemeColorName = "loadlineInset"   // what is deeper than a panel
	ColLine    fyne.ThemeColorName = "loadlineLine"    // borders and rules
	ColMuted   fyne.ThemeColorName = "loadlineMuted"   // text of second rank
	ColPass    fyne.ThemeColorName = "loadlinePass"
	ColWarn    fyne.ThemeColorName = "loadlineWarn"
	ColFail    fyne.ThemeColorName = "loadlineFail"
	ColUnknown fyne.ThemeColorName = "loadlineUnknown"
	ColIdle    fyne.ThemeColorName = "loadlineIdle"  // waiting
	ColUsed    fyne.ThemeColorName = "loadlineUsed"  // taken space on a gauge
	ColMark    fyne.ThemeColorName = "loadlineMark"  // the load line
	colDim     fyne.ThemeColorName = "loadlineDim"   // over the window while a question is asked
	colThumb   fyne.ThemeColorName = "loadlineThumb" // of a scroll bar
	colChip    fyne.ThemeColorName = "loadlineChip"  // what is chosen: a stage, a filter, a row
	ColText                        = theme.ColorNameForeground
	ColAccent                      = theme.ColorNamePrimary
	ColGround                      = theme.ColorNameBackground
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
	ColGround: hex(0xF3F4F1), ColSurface: hex(0xFFFFFF), ColInset: hex(0xEBEEEA), ColLine: hex(0xD9DDD7),
	ColText: hex(0x14201F), ColMuted: hex(0x51605D), ColAccent: hex(0x0E6470), colOnFill: hex(0xFFFFFF),
	ColPass: hex(0x1A6B3E), ColWarn: hex(0x8A5300), ColFail: hex(0xB3261E), ColUnknown: hex(0x5B4B9A),
	ColIdle: hex(0x5A6764), ColUsed: hex(0xA9B4B0), ColMark: hex(0xB8690A), colChip: hex(0xDCECEC), colDim: veil(0x0B1716, 96), colThumb: veil(0x14201F, 90),
	theme.ColorNameButton: hex(0xE6EAE6), theme.ColorNameHover: veil(0x14201F, 16), theme.ColorNamePressed: veil(0x14201F, 32),
	theme.ColorNameInputBackground: hex(0xFFFFFF), theme.ColorNameInputBorder: hex(0x7F8B86), theme.ColorNamePlaceHolder: hex(0x5F6D6A),
	theme.ColorNameDisabled: hex(0x8C9894), theme.ColorNameDisabledButton: hex(0xEBEEEA), theme.ColorNameSeparator: hex(0xE4E7E2),
	theme.ColorNameScrollBar: veil(0x14201F, 90), theme.ColorNameScrollBarBackground: veil(0, 0), theme.ColorNameSelection: veil(0x0E6470, 48),
	theme.ColorNameFocus: veil(0x0E6470, 60), theme.ColorNameShadow: veil(0x0B1716, 40), theme.ColorNameOverlayBackground: hex(0xFFFFFF),
	theme.ColorNameMenuBackground: hex(0xEBEEEA), theme.ColorNameHeaderBackground: hex(0xF3F4F1),
	theme.ColorNameSuccess: hex(0x1A6B3E), theme.ColorNameWarning: hex(0x8A5300), theme.ColorNameError: hex(0xB3261E),
	theme.ColorNameHyperlink: hex(0x0E6470),
}

var darkPalette = palette{
	ColGround: hex(0x0F1416), ColSurface: hex(0x171D20), ColInset: hex(0x20282B), ColLine: hex(0x2C363A),
	ColText: hex(0xE6ECEB), ColMuted: hex(0xA2AFAD), ColAccent: hex(0x74C9D3), colOnFill: hex(0x06262B),
	ColPass: hex(0x6BCB94), ColWarn: hex(0xEDB95E), ColFail: hex(0xFF9289), ColUnknown: hex(0xB9ABF4),
	ColIdle: hex(0x96A4A2), ColUsed: hex(0x4F5C60), ColMark: hex(0xFFC864), colChip: hex(0x1C3A3F), colDim: veil(0, 150), colThumb: veil(0xFFFFFF, 90),
	theme.ColorNameButton: hex(0x262F33), theme.ColorNameHover: veil(0xFFFFFF, 18), theme.ColorNamePressed: veil(0xFFFFFF, 34),
	theme.ColorNameInputBackground: hex(0x11171A), theme.ColorNameInputBorder: hex(0x65737A), theme.ColorNamePlaceHolder: hex(0x8E9C9A),
	theme.ColorNameDisabled: hex(0x64706E), theme.ColorNameDisabledButton: hex(0x20282B), theme.ColorNameSeparator: hex(0x252E31),
	theme.ColorNameScrollBar: veil(0xFFFFFF, 90), theme.ColorNameScrollBarBackground: veil(0, 0), theme.ColorNameSelection: veil(0x74C9D3, 60),
	theme.ColorNameFocus: veil(0x74C9D3, 70), theme.ColorNameShadow: veil(0, 140), theme.ColorNameOverlayBackground: hex(0x1B2225),
	theme.ColorNameMenuBackground: hex(0x20282B), theme.ColorNameHeaderBackground: hex(0x141A1C),
	theme.ColorNameSuccess: hex(0x6BCB94), theme.ColorNameWarning: hex(0xEDB95E), theme.ColorNameError: hex(0xFF9289),
	theme.ColorNameHyperlink: hex(0x74C9D3),
}

// TextGrounds are the colours that each colour of text stands on. The contrast test holds every pair to WCAG 2.2,
// success criterion 1.4.3 (4.5 to 1).
var TextGrounds = map[fyne.ThemeColorName][]fyne.ThemeColorName{
	ColText: {
		ColGround, ColSurface, ColInset, colChip, theme.ColorNameButton, theme.ColorNameInputBackground,
		theme.ColorNameOverlayBackground, theme.ColorNameMenuBackground,
	},
	ColMuted:                   {ColGround, ColSurface, ColInset, theme.ColorNameOverlayBackground},
	ColAccent:                  {ColSurface, ColGround, ColInset, colChip},
	colOnFill:                  {ColAccent, ColFail},
	ColPass:                    {ColSurface, ColGround, ColInset},
	ColWarn:                    {ColSurface, ColGround, ColInset},
	ColFail:                    {ColSurface, ColGround, ColInset, theme.ColorNameOverlayBackground},
	ColUnknown:                 {ColSurface, ColGround, ColInset},
	ColIdle:                    {ColSurface, ColGround},
	theme.ColorNamePlaceHolder: {theme.ColorNameInputBackground},
}
