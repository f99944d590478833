//go:build unix

package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// LockShared locks an open file together with others, and waits while somebody has it alone (flock(2)). The system
// lets go of the lock when the file is closed, or the process ends. File systems without locks give an error.
func LockShared(f *os.File) error { return flock(f, unix.LOCK_SH) }

// LockAlone locks an open file alone. Where somebody else has locked it, it does not wait: the error is ErrLocked.
func LockAlone(f *os.File) error {
	err := flock(f, unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return ErrLocked
	}
	return err
}

func flock(f *os.File, how int) error {
	for {
		if err := unix.Flock(int(f.Fd()), how); !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}

// LockFolder keeps other processes and this one from locking the same folder, for as long as it stays
// open or until Unlock (flock(2)). The system lets go of the lock by itself when the process ends,
// however it ends. Where somebody has it the error is ErrLocked. File systems without locks take every
// one.
func LockFolder(dir *os.File) error {
	err := LockAlone(dir)
	if isOne(err, []error{unix.EOPNOTSUPP, unix.ENOLCK, unix.EINVAL}) {
		return nil
	}
	return err
}

// UnlockFolder lets go of a lock before the folder is closed.
func UnlockFolder(dir *os.File) { _ = unix.Flock(int(dir.Fd()), unix.LOCK_UN) }
