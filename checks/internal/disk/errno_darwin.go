package disk

import "golang.org/x/sys/unix"

// Errors of a medium: a place of it cannot be read, or what was read is not what was written
// (xnu bsd/sys/errno.h).
var mediumErrors = []error{unix.EIO, unix.EBADMSG, unix.EDEVERR}

// Errors of a disk that is gone.
var goneErrors = []error{unix.ENXIO, unix.ENODEV, unix.EPWROFF}
