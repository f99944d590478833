package disk

import "golang.org/x/sys/windows"

var (
	fullErrors     = []error{windows.ERROR_DISK_FULL, windows.ERROR_HANDLE_DISK_FULL, windows.ERROR_DISK_QUOTA_EXCEEDED}
	readOnlyErrors = []error{windows.ERROR_WRITE_PROTECT}
	inUseErrors    = []error{windows.ERROR_SHARING_VIOLATION, windows.ERROR_LOCK_VIOLATION, windows.ERROR_BUSY}
	nameErrors     = []error{windows.ERROR_INVALID_NAME, windows.ERROR_FILENAME_EXCED_RANGE, windows.ERROR_BUFFER_OVERFLOW}
)
