package disk

import (
	"io/fs"
	"syscall"
	"time"
)

// AccessTime is when a file was last read, as the system said it of the file; now where it did not.
func AccessTime(info fs.FileInfo) time.Time {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return time.Unix(st.Atim.Unix())
	}
	return time.Now()
}
