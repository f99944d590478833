package disk

import (
	"io/fs"
	"syscall"
	"time"
)

// AccessTime is when a file was last read, as the system said it of the file; now where it did not.
func AccessTime(info fs.FileInfo) time.Time {
	if data, ok := info.Sys().(*syscall.Win32FileAttributeData); ok {
		return time.Unix(0, data.LastAccessTime.Nanoseconds())
	}
	return time.Now()
}
