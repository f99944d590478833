package walk

import "encoding/binary"

// AccessList is the name under which Xattrs tells that a file of a Mac has an access list: the one by which the kernel
// keeps it where it is kept as an attribute (bsd/sys/kauth.h of xnu, KAUTH_FILESEC_XATTR). Programs that list
// attributes are never shown it.
const AccessList = "com.apple.system.Security"

// From bsd/sys/attr.h and bsd/sys/kauth.h of xnu 11417.101.15.
const (
	attrExtendedSecurity = 0x00400000 // ATTR_CMN_EXTENDED_SECURITY
	filesecMagic         = 0x012cc16d // KAUTH_FILESEC_MAGIC
	filesecNoACL         = 0xffffffff // KAUTH_FILESEC_NOACL
	attrNoFollow         = 0x00000001 // FSOPT_NOFOLLOW
)

// aclRequest is a struct attrlist that asks for the access list of a file.
func aclRequest() [24]byte {
	var b [24]byte
	binary.LittleEndian.PutUint16(b[0:], 5) // ATTR_BIT_MAP_COUNT
	binary.LittleEndian.PutUint32(b[4:], attrExtendedSecurity)
	return b
}

// aclAnswer is how much of the answer is wanted, bytes: all before the entries of the list.
const aclAnswer = 4 + 8 + 44

// hasACL reads the answer to aclRequest: its length, a reference of 32 bits each to where a struct kauth_filesec begins
// and how long it is, and that: a magic number, two IDs of 16 bytes, and the list's number of entries. It is cut off
// where the memory for it ended.
func hasACL(answer []byte) bool {
	if len(answer) < 12 {
		return false
	}
	off, n := int(int32(binary.LittleEndian.Uint32(answer[4:]))), binary.LittleEndian.Uint32(answer[8:])
	at := 4 + off
	if n < 40 || off < 8 || at > len(answer)-40 || binary.LittleEndian.Uint32(answer[at:]) != filesecMagic {
		return false
	}
	entries := binary.LittleEndian.Uint32(answer[at+36:])
	return entries != filesecNoACL && entries != 0
}
