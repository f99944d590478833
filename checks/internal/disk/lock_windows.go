package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// LockShared locks an open file together with others, and waits while somebody has it alone (LockFileEx). The
// system lets go of the lock when the file is closed, or the process ends. File systems without locks give an error.
func LockShared(f *os.File) error { return lockFile(f, 0) }

// LockAlone locks an open file alone. Where somebody else has locked it, it does not wait: the error is ErrLocked.
func LockAlone(f *os.File) error {
	err := lockFile(f, windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return ErrLocked
	}
	return err
}

func lockFile(f *os.File, how uint32) error {
	return windows.LockFileEx(windows.Handle(f.Fd()), how, 0, 1, 0, &windows.Overlapped{})
}
