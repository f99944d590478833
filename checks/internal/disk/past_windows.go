package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

const byUnbuffered = "FILE_FLAG_NO_BUFFERING"

// quietFlags open a file itself and not what it may link to.
const quietFlags = windows.O_FILE_FLAG_OPEN_REPARSE_POINT

// openPast asks for FILE_FLAG_NO_BUFFERING, and tries it: some file systems refuse only the reading.
func openPast(open func(flags int) (*os.File, error)) (*Reader, error) {
	f, err := open(windows.O_FILE_FLAG_NO_BUFFERING)
	if err == nil {
		r, err := started(f)
		if err != nil {
			return nil, err
		}
		_, err = f.ReadAt(Buffer(Align), 0)
		if !refused(err) {
			// A bad first block is the reader's to meet again.
			r.way, r.by = Direct, byUnbuffered
			return r, nil
		}
		_ = f.Close()
	} else if !refused(err) {
		return nil, err
	}
	if f, err = open(0); err != nil {
		return nil, err
	}
	return started(f)
}

// refused tells a file system that does not know the flag from an error of the file.
func refused(err error) bool {
	return errors.Is(err, windows.ERROR_INVALID_PARAMETER) || errors.Is(err, windows.ERROR_NOT_SUPPORTED) ||
		errors.Is(err, windows.ERROR_INVALID_FUNCTION)
}
