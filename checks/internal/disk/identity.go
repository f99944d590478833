package disk

import (
	"encoding/hex"
	"io/fs"
)

// A State is what tells one state of one file from another: a file whose content was changed has
// another modification or status change time, and the latter nobody can set (stat(2), inode(7)). Where
// a file system keeps no status change time, as FAT does, the latter says no more than the former.
type State struct {
	Device   uint64 // its number while it is mounted; see DiskID for longer
	Number   uint64 // of the file on the device: inode number or file ID; 0 if there is none
	Size     int64  // bytes
	Modified int64  // nanoseconds since 1970
	Changed  int64  // nanoseconds since 1970
	Known    bool   // the system told all of it: without, a file cannot be known again
}

// StateOf is the state in what the system said of a file. On Windows that is not all: ask Stat or
// Lstat there.
func StateOf(info fs.FileInfo) State {
	s := State{Size: info.Size(), Modified: info.ModTime().UnixNano()}
	fillState(&s, info)
	return s
}

// formatUUID writes 16 bytes as RFC 9562 does.
func formatUUID(b []byte) string {
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

// zero reports whether there is nothing in b.
func zero(b []byte) bool {
	for _, c := range b {
		if c != 0 {
			return false
		}
	}
	return true
}
