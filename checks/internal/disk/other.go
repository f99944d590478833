//go:build !linux && !darwin && !windows

package disk

import (
	"errors"
	"io/fs"
	"os"
	"time"
)

// What can be said of a disk on a system that nobody has tried: nothing, or what package os knows.

// RenameNewAt is not offered here.
func RenameNewAt(_ *os.File, from, to string) error {
	return &os.LinkError{Op: "rename", Old: from, New: to, Err: errors.ErrUnsupported}
}

func renameNoReplace(from, to string) error { return RenameNewAt(nil, from, to) }

// RenameOverAt is not offered here.
func RenameOverAt(_ *os.File, from, to string) error { return RenameNewAt(nil, from, to) }

// Flush waits until a file has arrived on the disk.
func Flush(f *os.File) error { return f.Sync() }

// LastingNumbers is not known here.
func LastingNumbers(*os.File) bool { return false }

func fillState(*State, fs.FileInfo) {}

// DiskID is not known here.
func DiskID(string) (string, error) { return "", nil }

// offset is not known here.
func offset(*os.File) (at int64, ok bool) { return 0, false }

// AccessTime is not known here.
func AccessTime(fs.FileInfo) time.Time { return time.Now() }

const quietFlags = 0

// openPast opens a file. Nothing here reads past the cache.
func openPast(open func(flags int) (*os.File, error)) (*Reader, error) {
	f, err := open(0)
	if err != nil {
		return nil, err
	}
	return started(f)
}

// MediumOf is not known here.
func MediumOf(string) Medium { return Medium{} }

// USBSpeed is not told here.
func USBSpeed(string) int { return 0 }

func keepAwake(string) (release func(), means string, err error) {
	return nil, "", errors.ErrUnsupported
}

var mediumErrors, goneErrors []error
