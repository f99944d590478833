package gui

import (
	"loadline/checks"
)

// checkReads is the check that can read every file of the source to its last byte.
const checkReads = "every-byte-reads"

// ReadAll runs the checks before copying and reads the whole disk in them.
func (w *Window) ReadAll() {
	if w.running == w.stage {
		w.tellWhile(w.whileRunning(), checks.Waiting, "A check is still running. You can read the whole disk when it has finished.")
		return
	}
	w.check(true)
	w.warnOfSleep()
}

// ruleSameContent is the rule that a file has the same content as another.
const ruleSameContent = "same-content"

// offersReading reports whether a card offers to read the whole disk.
func offersReading(k *card) bool {
	return k.check.ID == checkReads && (k.result == nil || k.result.Status != checks.Passed)
}

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
