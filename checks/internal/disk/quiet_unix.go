//go:build unix

package disk

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// OpenQuiet opens a file for reading, leaves the date of its last reading as it is where the system lets
// it, follows no link, and does not wait where a pipe has taken the file's place.
func OpenQuiet(path string) (*os.File, error) {
	const flags = os.O_RDONLY | unix.O_NOFOLLOW | unix.O_NONBLOCK
	f, err := os.OpenFile(path, flags|QuietRead, 0)
	if QuietRead != 0 && errors.Is(err, fs.ErrPermission) {
		f, err = os.OpenFile(path, flags, 0)
	}
	return f, err
}
