//go:build !linux && !darwin && !windows

package disk

import (
	"io/fs"
	"time"
)

// AccessTime is not known here.
func AccessTime(fs.FileInfo) time.Time { return time.Now() }
