package share

import (
	"errors"

	"golang.org/x/sys/windows"
)

func isStale(err error) bool { return errors.Is(err, windows.ERROR_FILE_INVALID) }

func isIO(err error) bool {
	return errors.Is(err, windows.ERROR_IO_DEVICE) || errors.Is(err, windows.ERROR_SEM_TIMEOUT)
}

func isTooManyFiles(err error) bool {
	return errors.Is(err, windows.ERROR_TOO_MANY_OPEN_FILES) || errors.Is(err, windows.ERROR_NOT_ENOUGH_MEMORY)
}
