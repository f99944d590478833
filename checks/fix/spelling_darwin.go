package fix

import (
	"os"

	"golang.org/x/sys/unix"
)

// isHFSPlus reports whether a folder is on HFS+ or HFSX (statfs(2), f_fstypename).
func isHFSPlus(dir *os.File) bool {
	var st unix.Statfs_t
	return unix.Fstatfs(int(dir.Fd()), &st) == nil && unix.ByteSliceToString(st.Fstypename[:]) == "hfs"
}
