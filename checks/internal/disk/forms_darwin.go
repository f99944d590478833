package disk

import (
	"os"

	"golang.org/x/sys/unix"
)

// RespellsNames reports whether a folder is on a disk that stores names in a normal form of its own, so
// that it may list another name than it was given: HFS+ and HFSX (statfs(2), f_fstypename).
func RespellsNames(dir *os.File) bool {
	var st unix.Statfs_t
	err := retried(func() error { return unix.Fstatfs(int(dir.Fd()), &st) })
	return err == nil && unix.ByteSliceToString(st.Fstypename[:]) == "hfs"
}
