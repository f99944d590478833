//go:build !linux && !darwin

package disk

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"time"
)

// FlushFolder does nothing: folders cannot be flushed here, or it is not known whether they can.
func FlushFolder(string) error { return nil }

// FlushAll has no way here that an ordinary person may go: each file has to be flushed.
func FlushAll(*os.File) (way string, err error) { return "", nil }

// RespellsNames is not known here.
func RespellsNames(*os.File) bool { return false }

// Owner is not known here by number.
func Owner(fs.FileInfo) (uid, gid int, known bool) { return 0, 0, false }

// SetLinkTime is not offered here.
func SetLinkTime(*os.File, string, time.Time) error { return errors.ErrUnsupported }

// links is not told by a look at the name here.
func links(fs.FileInfo) uint64 { return 0 }

func inMemoryStill(*os.File, int64) (bool, error) { return false, errors.ErrUnsupported }

func dropCache(*os.File) {}

func (r *Reader) read(p []byte, off int64) (int, error) {
	n, err := r.f.ReadAt(p, off)
	if err == io.EOF && n > 0 {
		err = nil // ReadAt of the Reader tells the end
	}
	return n, err
}
