package disk

import "golang.org/x/sys/unix"

// MediumOf tells network file systems.
func MediumOf(path string) Medium {
	var st unix.Statfs_t
	if err := retried(func() error { return unix.Statfs(path, &st) }); err != nil {
		return Medium{}
	}
	if st.Flags&unix.MNT_LOCAL == 0 {
		return Medium{Network: Yes, Rotates: No, USB: No}
	}
	return Medium{Network: No}
}
