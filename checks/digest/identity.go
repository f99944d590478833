package digest

import (
	"crypto/sha256"
	"encoding/binary"
)

// A stat is what tells one state of a file from another. A file whose content was changed has
// another modification or status change time; the latter nobody can set (stat(2), inode(7)).
type stat struct {
	device uint64
	inode  uint64
	size   int64
	mtime  int64 // nanoseconds since 1970
	ctime  int64
	known  bool // the system gives all of these
}

// An Ident is a stat and the disk or share that it is of, in short: the first 8 bytes of a SHA-256.
// 0 is none.
type Ident uint64

// identOf returns 0 where the system does not tell enough to know a file again.
func identOf(place string, s *stat) Ident {
	if !s.known || s.inode == 0 {
		return 0
	}
	b := append(make([]byte, 0, 128), place...)
	b = append(b, 0)
	for _, v := range []uint64{s.device, s.inode, uint64(s.size), uint64(s.mtime), uint64(s.ctime)} {
		b = binary.BigEndian.AppendUint64(b, v)
	}
	sum := sha256.Sum256(b)
	return Ident(binary.BigEndian.Uint64(sum[:8]))
}
