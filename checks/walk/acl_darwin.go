package walk

import (
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// withACL adds AccessList to the names of attributes of a path that has one (getattrlist(2)). A file system that has
// no such lists is none that they could be lost from.
func withACL(path string, list []string) []string {
	p, err := unix.BytePtrFromString(path)
	if err != nil {
		return list
	}
	request := aclRequest()
	var answer [aclAnswer]byte
	for {
		_, _, errno := syscall.Syscall6(unix.SYS_GETATTRLIST, uintptr(unsafe.Pointer(p)), uintptr(unsafe.Pointer(&request)),
			uintptr(unsafe.Pointer(&answer)), uintptr(len(answer)), attrNoFollow, 0)
		if errno == unix.EINTR {
			continue
		}
		if errno == 0 && hasACL(answer[:]) {
			list = append(list, AccessList)
		}
		return list
	}
}
