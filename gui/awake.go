package gui

import "loadline/checks"

// maySleep is what a person should know before hours of work, where this computer cannot be kept awake.
const maySleep = "Loadline cannot keep this computer awake: turn off automatic sleep in the system’s settings first."

// askAwake finds out beside the window whether this computer can be kept awake, and has the pages say so
// where it cannot.
func (w *Window) askAwake() {
	keep := w.desktop.KeepAwake
	if keep == nil {
		return
	}
	go func() {
		release, err := keep("Checking whether this is possible")
		release()
		w.desktop.Post(func() {
			if w.sleepy = err != nil; !w.sleepy {
				return
			}
			for _, v := range w.views {
				w.showReady(v)
			}
		})
	}()
}

// beforeLong adds the warning to what is said before a long run; nothing where there is none.
func (w *Window) beforeLong(text string) string {
	if w.sleepy {
		text += " " + maySleep
	}
	return text
}

// warnOfSleep says it again as a long run begins.
func (w *Window) warnOfSleep() {
	if w.sleepy && w.running != "" {
		w.tellWhile(w.whileRunning(), checks.Warned, maySleep)
	}
}
