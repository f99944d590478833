package checks

import (
	"io"
	"time"

	"loadline/checks/internal/disk"
)

// KeepAwake keeps this computer from going to sleep by itself until release is called. The error says why
// it cannot; release then does nothing. It may take some seconds, so call it where nobody waits. Taken and
// given back at once, it tells whether there is a way at all.
func KeepAwake(reason string) (release func(), err error) {
	release, _, err = disk.Awake(reason)
	return release, err
}

// KeepAwake does so for a check that takes long, and says whether it held. For use in Finish.
func (pass *Pass) KeepAwake(reason string) (release func()) {
	release, means, err := disk.Awake(reason)
	if err != nil {
		pass.Fact("kept_awake", false, "This computer could not be kept from going to sleep: %s", Plain(Reason(err)))
	} else {
		pass.Fact("kept_awake", true, "This computer was kept awake meanwhile: %s", means)
	}
	return release
}

// WriteNew writes a file that does not exist yet, whole or not at all, and never replaces another: it
// fails with fs.ErrExist where the name is taken. The window and the command write through it.
func WriteNew(path string, fill func(io.Writer) error) error { return disk.WriteNew(path, fill) }

// Replace writes a file in the place of the one of that name, if there is one: a crash leaves the old file
// or the new one, whole.
func Replace(path string, fill func(io.Writer) error) error { return disk.Replace(path, fill) }

// Sweep removes what writers that were cut off left behind in a folder of the program's own: half-written
// files older than age, each of a file that ours accepts.
func Sweep(dir string, age time.Duration, now time.Time, ours func(file string) bool) {
	disk.Sweep(dir, age, now, ours)
}
