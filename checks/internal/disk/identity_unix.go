//go:build !windows

package disk

import "os"

// Stat is the state of an open file.
func Stat(f *os.File) (State, error) {
	info, err := f.Stat()
	if err != nil {
		return State{}, err
	}
	return StateOf(info), nil
}

// Lstat is the state of a file, itself and not what it may link to.
func Lstat(path string) (State, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return State{}, err
	}
	return StateOf(info), nil
}
