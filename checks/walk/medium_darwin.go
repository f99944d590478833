package walk

import "golang.org/x/sys/unix"

// mediumOf tells network file systems; the system does not say here whether a disk spins.
func mediumOf(root string) medium {
	var st unix.Statfs_t
	if err := unix.Statfs(root, &st); err != nil {
		return unknownMedium
	}
	if st.Flags&unix.MNT_LOCAL == 0 {
		return network
	}
	return unknownMedium
}
