//go:build !unix && !windows

package walk

import "io/fs"

func fillSystem(*Entry, fs.FileInfo) (dev uint64) { return 0 }
