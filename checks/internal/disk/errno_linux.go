package disk

import "golang.org/x/sys/unix"

// Errors of a medium: a place of it cannot be read (EIO; ENODATA where the disk says "medium error",
// drivers/scsi) or what was read is not what was written (EBADMSG, a wrong checksum; EUCLEAN, a broken structure;
// EILSEQ of block devices with checksums).
var mediumErrors = []error{unix.EIO, unix.ENODATA, unix.EBADMSG, unix.EUCLEAN, unix.EILSEQ}

// Errors of a disk that is gone.
var goneErrors = []error{unix.ENXIO, unix.ENODEV, unix.ENOMEDIUM, unix.ESHUTDOWN}
