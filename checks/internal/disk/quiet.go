//go:build unix

package disk

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

const quietFlags = os.O_RDONLY | unix.O_NOFOLLOW | unix.O_NONBLOCK

// OpenQuiet opens a file for reading, leaves the date of its last reading as it is where the system lets
// it, follows no link, and does not wait where a pipe has taken the file's place.
func OpenQuiet(path string) (*os.File, error) {
	return openGently(func(flags int) (*os.File, error) { return os.OpenFile(path, flags, 0) })
}

// OpenQuietBelow is OpenQuiet for a path below a folder, however long it is: where the system does not take it
// in one piece (PATH_MAX), it goes folder by folder.
func OpenQuietBelow(folder, rel string) (*os.File, error) {
	f, err := OpenQuiet(filepath.Join(folder, rel))
	if !errors.Is(err, unix.ENAMETOOLONG) {
		return f, err
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	return openGently(func(flags int) (*os.File, error) { return root.OpenFile(rel, flags, 0) })
}

func openGently(open func(flags int) (*os.File, error)) (*os.File, error) {
	f, err := open(quietFlags | QuietRead)
	if QuietRead != 0 && errors.Is(err, fs.ErrPermission) {
		f, err = open(quietFlags)
	}
	return f, err
}
