package disk

import (
	"crypto/sha256"
	"errors"
	"fmt"
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
