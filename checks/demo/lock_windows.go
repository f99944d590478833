package demo

import (
	"os"

	"golang.org/x/sys/windows"
)

// lock takes a file for this process, or fails where another has it (LockFileEx). What is locked lies
// behind the text, which others may read.
func lock(f *os.File) error {
	return windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0,
		&windows.Overlapped{Offset: 1 << 20})
}
