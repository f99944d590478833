package disk

import (
	"encoding/binary"
	"errors"
)

// What macOS takes and gives, as bytes: built and read here so that it can be tested anywhere. All
// numbers are from Apple's published kernel, xnu 11417.101.15.

// bsd/sys/fsctl.h: FSIOC_SYNC_VOLUME is _IOW('A', 1, uint32_t).
const (
	syncVolume = iocIn | 4<<16 | 'A'<<8 | 1
	syncFull   = 1 << 0 // FSCTL_SYNC_FULLSYNC
	syncWait   = 1 << 1 // FSCTL_SYNC_WAIT
	iocIn      = 0x80000000
)

// mincoreInCore: bsd/sys/mman.h, MINCORE_INCORE: the page is in memory. Linux has the same (mincore(2)).
const mincoreInCore = 0x1

// bsd/sys/attr.h.
const (
	attrBitMapCount = 5
	attrVolInfo     = 0x80000000 // ATTR_VOL_INFO, goes with every volume attribute
	attrVolUUID     = 0x00040000 // ATTR_VOL_UUID
)

// volumeUUIDRequest is a struct attrlist that asks for the UUID of a volume (bsd/sys/attr.h: a count
// and a reserved field of 16 bits each, then five groups of 32 bits: common, volume, folder, file,
// fork).
func volumeUUIDRequest() [24]byte {
	var b [24]byte
	binary.LittleEndian.PutUint16(b[0:], attrBitMapCount)
	binary.LittleEndian.PutUint32(b[8:], attrVolInfo|attrVolUUID)
	return b
}

var errTooShort = errors.New("the system's answer is shorter than it should be")

// volumeUUID reads the answer to volumeUUIDRequest: a length of 32 bits that counts itself, then the
// 16 bytes of the UUID (getattrlist(2)).
func volumeUUID(answer []byte) (string, error) {
	if len(answer) < 20 || binary.LittleEndian.Uint32(answer) < 20 {
		return "", errTooShort
	}
	return formatUUID(answer[4:20]), nil
}

// log2physRequest is a struct log2phys that asks where the first bytes of a file are
// (bsd/sys/fcntl.h, packed to 4: flags of 32 bits, how many bytes and the offset in the file of 64 bits
// each).
func log2physRequest(offset, length int64) [20]byte {
	var b [20]byte
	binary.LittleEndian.PutUint64(b[4:], uint64(length))
	binary.LittleEndian.PutUint64(b[12:], uint64(offset))
	return b
}

// log2physAnswer reads the place on the device from the same structure. It is -1 where no block is
// behind the offset (bsd/kern/kern_descrip.c, F_LOG2PHYS_EXT).
func log2physAnswer(b [20]byte) (at int64, ok bool) {
	at = int64(binary.LittleEndian.Uint64(b[12:]))
	return at, at >= 0
}
