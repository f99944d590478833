//go:build !linux && !darwin && !windows

package disk

import (
	"errors"
	"io/fs"
	"os"
)

// RenameNewAt is not offered here.
func RenameNewAt(_ *os.File, from, to string) error {
	return &os.LinkError{Op: "rename", Old: from, New: to, Err: errors.ErrUnsupported}
}

func renameNoReplace(from, to string) error { return RenameNewAt(nil, from, to) }

// RenameOverAt is not offered here.
func RenameOverAt(_ *os.File, from, to string) error { return RenameNewAt(nil, from, to) }

// Flush waits until a file has arrived on the disk.
func Flush(f *os.File) error { return f.Sync() }

// FlushFolder does nothing: whether folders can be flushed here is not known.
func FlushFolder(string) error { return nil }

// FlushAll has no way here: each file has to be flushed.
func FlushAll(*os.File) (way string, err error) { return "", nil }

// LastingNumbers is not known here.
func LastingNumbers(*os.File) bool { return false }

// QuietRead would leave the date of the last reading as it is.
const QuietRead = 0

func links(fs.FileInfo) uint64 { return 0 }
