package fix

import (
	"os"

	"golang.org/x/sys/unix"
)

// isHFSPlus reports whether a folder is on HFS+ or HFSX (statfs(2), HFSPLUS_SUPER_MAGIC).
func isHFSPlus(dir *os.File) bool {
	const magic = 0x482b
	var st unix.Statfs_t
	return unix.Fstatfs(int(dir.Fd()), &st) == nil && st.Type == magic
}
