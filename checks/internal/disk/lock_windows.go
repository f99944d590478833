package disk

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

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

// lockFile locks a byte far behind the end of any file: what is locked, others could not read.
func lockFile(f *os.File, how uint32) error {
	return windows.LockFileEx(windows.Handle(f.Fd()), how, 0, 1, 0, &windows.Overlapped{OffsetHigh: 1 << 20})
}

var lockedFolders sync.Map // *os.File of the folder to *os.File of its lock

// LockFolder keeps other processes of this person and this one from locking the same folder, for as long as the
// process lives or until Unlock. A folder itself cannot be locked here: a file among the temporary ones stands for
// it. Where somebody has it the error is ErrLocked.
func LockFolder(dir *os.File) error {
	state, err := Stat(dir)
	if err != nil {
		return err
	}
	what := fmt.Sprintf("%x %x", state.Device, state.Number)
	if state.Number == 0 {
		if what, err = filepath.Abs(dir.Name()); err != nil {
			return err
		}
	}
	sum := sha256.Sum256([]byte(what))
	f, err := os.OpenFile(filepath.Join(os.TempDir(), fmt.Sprintf("loadline-%x.lock", sum[:8])), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	if err := LockAlone(f); err != nil {
		_ = f.Close() // nothing was written
		return err
	}
	lockedFolders.Store(dir, f)
	return nil
}

// UnlockFolder lets go of a lock.
func UnlockFolder(dir *os.File) {
	if f, ok := lockedFolders.LoadAndDelete(dir); ok {
		_ = f.(*os.File).Close() // nothing was written
	}
}
