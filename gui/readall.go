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
