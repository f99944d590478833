package kit

import "fyne.io/fyne/v2"

// Still returns the program without the toolkit's animations. The cursor of a text field is one: it
// would have the window drawn at the rate of the display for as long as a field has the keyboard.
// Make it the current one with fyne.SetCurrentApp.
func Still(a fyne.App) fyne.App { return still{a} }

type still struct{ fyne.App }

// Settings implements fyne.App.
func (a still) Settings() fyne.Settings { return stillSettings{a.App.Settings()} }

type stillSettings struct{ fyne.Settings }

// ShowAnimations implements fyne.Settings.
func (stillSettings) ShowAnimations() bool { return false }
