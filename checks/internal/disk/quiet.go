package disk

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// OpenGently opens a file or folder for reading, by open, with flags of open(2), and leaves the date of its last
// reading as it is where the system lets it: not everywhere, and only the owner.
func OpenGently(flags int, open func(flags int) (*os.File, error)) (*os.File, error) {
	f, err := open(flags | quietRead)
	if quietRead != 0 && errors.Is(err, fs.ErrPermission) {
		return open(flags)
	}
	return f, err
}

// openQuiet opens a file to be read, itself and not what it may link to, without waiting for whoever
// may write to a pipe, and gently.
func openQuiet(path string, flags int) (*os.File, error) {
	return OpenGently(flags|quietFlags, func(flags int) (*os.File, error) { return os.OpenFile(path, flags, 0) })
}

// OpenQuietBelow opens a file below a folder in the same way, however long its path is: where the system does not
// take it in one piece (PATH_MAX), it goes folder by folder.
func OpenQuietBelow(folder, rel string) (*os.File, error) {
	f, err := openQuiet(filepath.Join(folder, rel), 0)
	if !NameRefused(err) {
		return f, err
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	return OpenGently(quietFlags, func(flags int) (*os.File, error) { return root.OpenFile(rel, flags, 0) })
}
