package disk

import (
	"encoding/binary"
	"io/fs"
)

// Place is where on its disk a file begins, the path itself and not what it may link to. Opening costs a reading
// of its inode where that is not in memory: on a disk that rotates, ask in the order of State.Number,
// which is also the order to read in where no place is known.
func Place(path string) (at int64, ok bool, err error) {
	f, err := openQuiet(path, 0)
	if err != nil {
		return 0, false, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = &fs.PathError{Op: "open", Path: path, Err: errNotRegular}
	}
	if err != nil {
		return 0, false, err
	}
	at, ok = offset(f)
	return at, ok, nil
}

// FS_IOC_FIEMAP of Linux (include/uapi/linux/fiemap.h): a struct fiemap of 32 bytes (start, length of 64
// bits; flags, extents mapped, room for extents, reserved of 32 bits), then extents of 56 bytes
// (offset in the file, place, length, two reserved of 64 bits; flags, three reserved of 32 bits).
const (
	fiemap       = 0xc020660b // _IOWR('f', 11, struct fiemap)
	fiemapHead   = 32
	fiemapExtent = 56

	// Extents whose place is not known, not there yet, or not a place of their own.
	fiemapNoPlace = 0x002 | 0x004 | 0x200 // FIEMAP_EXTENT_UNKNOWN, _DELALLOC, _DATA_INLINE
)

// fiemapRequest asks for the first extent of a file.
func fiemapRequest() [fiemapHead + fiemapExtent]byte {
	var b [fiemapHead + fiemapExtent]byte
	binary.NativeEndian.PutUint64(b[8:], ^uint64(0)) // to its end
	binary.NativeEndian.PutUint32(b[24:], 1)
	return b
}

func fiemapAnswer(b [fiemapHead + fiemapExtent]byte) (at int64, ok bool) {
	if binary.NativeEndian.Uint32(b[20:]) == 0 || binary.NativeEndian.Uint32(b[fiemapHead+40:])&fiemapNoPlace != 0 {
		return 0, false
	}
	at = int64(binary.NativeEndian.Uint64(b[fiemapHead+8:]))
	return at, at > 0
}

// retrievalAnswer reads the place of the first extent from a RETRIEVAL_POINTERS_BUFFER of Windows
// (winioctl.h: a count of 32 bits, padded; the first cluster of the file; then pairs of the next cluster of
// the file and the cluster on the volume, 64 bits each). It is in clusters; -1 is a hole.
func retrievalAnswer(b []byte) (cluster int64, ok bool) {
	if len(b) < 32 || binary.LittleEndian.Uint32(b) == 0 {
		return 0, false
	}
	cluster = int64(binary.LittleEndian.Uint64(b[24:]))
	return cluster, cluster >= 0
}
