package disk

import "golang.org/x/sys/windows"

// Errors of a medium: a place of it cannot be read, or what was read is not what was written.
var mediumErrors = []error{
	windows.ERROR_CRC, windows.ERROR_IO_DEVICE, windows.ERROR_SECTOR_NOT_FOUND, windows.ERROR_READ_FAULT, windows.ERROR_GEN_FAILURE,
	windows.ERROR_DISK_OPERATION_FAILED, windows.ERROR_FILE_CORRUPT, windows.ERROR_DISK_CORRUPT, windows.ERROR_DATA_CHECKSUM_ERROR,
}

// Errors of a disk that is gone.
var goneErrors = []error{
	windows.ERROR_NOT_READY, windows.ERROR_DEV_NOT_EXIST, windows.ERROR_NO_MEDIA_IN_DRIVE, windows.ERROR_DEVICE_NOT_CONNECTED,
	windows.ERROR_NO_SUCH_DEVICE, windows.ERROR_DEVICE_REMOVED, windows.ERROR_FILE_INVALID,
}

var (
	fullErrors     = []error{windows.ERROR_DISK_FULL, windows.ERROR_HANDLE_DISK_FULL, windows.ERROR_DISK_QUOTA_EXCEEDED}
	readOnlyErrors = []error{windows.ERROR_WRITE_PROTECT}
	inUseErrors    = []error{windows.ERROR_SHARING_VIOLATION, windows.ERROR_LOCK_VIOLATION, windows.ERROR_BUSY}
	nameErrors     = []error{windows.ERROR_INVALID_NAME, windows.ERROR_FILENAME_EXCED_RANGE, windows.ERROR_BUFFER_OVERFLOW}
)
