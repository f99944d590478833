//go:build !linux && !darwin && !windows

package disk

import (
	"io/fs"
	"os"
)

func fillState(*State, fs.FileInfo) {}

// Stat is the state of an open file; it is not known again here.
func Stat(f *os.File) (State, error) {
	info, err := f.Stat()
	if err != nil {
		return State{}, err
	}
	return StateOf(info), nil
}

// Lstat is the state of a file; it is not known again here.
func Lstat(path string) (State, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return State{}, err
	}
	return StateOf(info), nil
}

// DiskID is not known here.
func DiskID(string) (string, error) { return "", nil }

// Offset is not known here.
func Offset(*os.File) (at int64, ok bool) { return 0, false }
