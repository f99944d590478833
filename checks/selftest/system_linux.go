package selftest

import (
	"encoding/binary"

	"golang.org/x/sys/unix"
)

const accessList = "system.posix_acl_access"

// setAttribute gives a file an attribute of the user and returns its name (xattr(7)).
func setAttribute(path string) (string, error) {
	const name = "user.loadline.selftest"
	return name, unix.Setxattr(path, name, []byte("1"), 0)
}

// setAccessList gives a file an access list with an entry for another user (acl(5); the form of the attribute is that
// of linux/posix_acl_xattr.h: version 2, then tag, permissions and ID of each entry).
func setAccessList(path string) error {
	acl := binary.LittleEndian.AppendUint32(nil, 2)
	for _, e := range []struct {
		tag, perm uint16
		id        uint32
	}{{1, 6, ^uint32(0)}, {2, 4, 1}, {4, 0, ^uint32(0)}, {0x10, 4, ^uint32(0)}, {0x20, 0, ^uint32(0)}} {
		acl = binary.LittleEndian.AppendUint16(acl, e.tag)
		acl = binary.LittleEndian.AppendUint16(acl, e.perm)
		acl = binary.LittleEndian.AppendUint32(acl, e.id)
	}
	return unix.Setxattr(path, accessList, acl, 0)
}

func kernel() string {
	var u unix.Utsname
	if unix.Uname(&u) != nil {
		return ""
	}
	return unix.ByteSliceToString(u.Sysname[:]) + " " + unix.ByteSliceToString(u.Release[:])
}
