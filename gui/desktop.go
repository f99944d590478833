package gui

import (
	"context"
	"runtime"
	"time"

	"fyne.io/fyne/v2"

	"loadline/checks"
)

// Loop is the loop of the user interface.
type Loop interface {
	// Post runs f on the goroutine of the loop, soon; PostWait returns when f has run.
	Post(f func())
	PostWait(f func())
	// Glance posts an f that changes nothing, and that is no reason to stay awake.
	Glance(f func())
	// Rests reports that the loop rests: nothing has happened for a while, no event, nothing posted. It may be
	// called on any goroutine, like the others.
	Rests() bool
}

// Desktop is what the window asks of the desktop. Tests give it stand-ins; RealDesktop has the real ones.
type Desktop struct {
	Loop
	// After runs f on another goroutine once d has passed; the result calls that off.
	After func(d time.Duration, f func()) (cancel func())
	// Choose asks the person for a folder, or for a file. Done is called on any goroutine, with "" where
	// they chose nothing; err means that no dialog could be shown.
	Choose func(title, start string, folder bool, done func(path string, err error))
	// Offers lists the disks and shares that are mounted; called on another goroutine, one call at a
	// time. Nil offers nothing.
	Offers func(context.Context) []Offer
	// Reveal opens a folder in the file manager.
	Reveal func(folder string) error
	// Notify shows a notification of the desktop.
	Notify func(title, text string)
	// Progress shows on the program's icon which part of a long run is done, and below 0 takes that away again.
	// Nil where the desktop has nothing of the kind.
	Progress func(part float64)
	// Copy puts text on the clipboard.
	Copy func(text string)
	Now  func() time.Time
	// KeepAwake keeps the computer awake until release is called; called on another goroutine. Nil keeps
	// nothing awake and says nothing of it.
	KeepAwake func(reason string) (release func(), err error)

	StateDir  string // where choices and the last reports are kept; "" keeps nothing
	ReportDir string // where reports are proposed to be saved
	Version   string
	Unproven  string // what was not tried yet on this system; said at the foot of a window that opens
	// ScreenWidth and ScreenHeight are in pixels; 0 where unknown. The window never opens larger.
	ScreenWidth, ScreenHeight int
}

func timer(d time.Duration, f func()) func() {
	t := time.AfterFunc(d, f)
	return func() { t.Stop() }
}

// RealDesktop returns the desktop as it is, for one window.
func RealDesktop(w fyne.Window, loop Loop) Desktop {
	d := Desktop{
		Loop: loop, After: timer, Now: time.Now,
		Reveal: openFolder,
		Offers: (&offerer{}).list,
		Notify: func(title, text string) {
			fyne.CurrentApp().SendNotification(fyne.NewNotification(title, text))
		},
		Copy:      func(s string) { fyne.CurrentApp().Clipboard().SetContent(s) },
		KeepAwake: checks.KeepAwake,
		StateDir:  stateDir(),
		ReportDir: reportDir(),
		Unproven:  checks.Unproven(runtime.GOOS),
	}
	d.Choose = chooser{window: w, post: loop.Post}.ask
	return d
}
