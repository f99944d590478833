//go:build unix

package share

import (
	"errors"

	"golang.org/x/sys/unix"
)

func isStale(err error) bool { return errors.Is(err, unix.ESTALE) }

// isIO also knows ETIMEDOUT, which softerr gives (nfs(5)).
func isIO(err error) bool { return errors.Is(err, unix.EIO) || errors.Is(err, unix.ETIMEDOUT) }

func isTooManyFiles(err error) bool {
	return errors.Is(err, unix.EMFILE) || errors.Is(err, unix.ENFILE) || errors.Is(err, unix.ENOMEM)
}
