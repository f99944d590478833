//go:build !linux && !darwin && !windows

package disk

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// Owner is not known here by number.
func Owner(fs.FileInfo) (uid, gid int, known bool) { return 0, 0, false }

// SetLinkTime is not offered here.
func SetLinkTime(*os.File, string, time.Time) error { return errors.ErrUnsupported }

var lockedFolders sync.Map // by path

// LockFolder keeps this process from locking the same folder twice; other processes are not kept away
// here. Where it is locked the error is ErrLocked.
func LockFolder(dir *os.File) error {
	path, err := filepath.Abs(dir.Name())
	if err != nil {
		return err
	}
	if _, taken := lockedFolders.LoadOrStore(path, true); taken {
		return ErrLocked
	}
	return nil
}

// UnlockFolder lets go of a lock.
func UnlockFolder(dir *os.File) {
	if path, err := filepath.Abs(dir.Name()); err == nil {
		lockedFolders.Delete(path)
	}
}
