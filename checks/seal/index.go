package seal

import (
	"hash/maphash"
	"math/bits"

	"loadline/checks/names"
)

// An index holds a manifest in memory without a pointer a file: about 90 bytes and its path each, so
// a million files of 80 bytes take 180 MB and cost the collector nothing.
type index struct {
	head  *Header
	paths arena
	files chunked[indexed]
	slots []uint32 // open addressing: number of the file plus one
	seed  maphash.Seed
}

type indexed struct {
	path  span
	size  int64
	sums  Sums
	state matched
	// deleted is the line that says that the object of its key was deleted, 0 if none does.
	deleted int
}

// matched is what became of a file of the manifest.
type matched uint8

const (
	unmatched    matched = iota
	matchedGood          // an object of its size, and of its checksum where that was compared
	matchedBad           // an object that differs
	matchedTwice         // listed more than once, and not alike
)

func (ix *index) add(f *File) error {
	ix.files.add(indexed{path: ix.paths.add(f.Path), size: f.Size, sums: f.Sums})
	return nil
}

// build makes the index ready for find.
func (ix *index) build() {
	n := ix.files.len()
	ix.seed = maphash.MakeSeed()
	ix.slots = make([]uint32, 1<<bits.Len(uint(n+n/2)))
	for i := range n {
		at := ix.slot(string(ix.path(i)))
		for ix.slots[at] != 0 {
			at = (at + 1) % len(ix.slots)
		}
		ix.slots[at] = uint32(i + 1)
	}
}

func (ix *index) slot(path string) int {
	return int(maphash.String(ix.seed, path) % uint64(len(ix.slots)))
}

// count returns how many files are in a state.
func (ix *index) count(m matched) int64 {
	n := int64(0)
	for _, c := range ix.files.chunks {
		for i := range c {
			if c[i].state == m {
				n++
			}
		}
	}
	return n
}

// path returns the path of a file; it must not be changed.
func (ix *index) path(i int) []byte { return ix.paths.get(ix.files.at(i).path) }

// find returns the number of a file, -1 if the manifest does not hold it.
func (ix *index) find(path string) int {
	for at := ix.slot(path); ix.slots[at] != 0; at = (at + 1) % len(ix.slots) {
		if i := int(ix.slots[at] - 1); string(ix.path(i)) == path {
			return i
		}
	}
	return -1
}

// foldHash is equal for paths that differ in normal form or case only.
func (ix *index) foldHash(path string) uint64 {
	return maphash.String(ix.seed, names.Fold(path))
}

// An arena keeps many strings in few pieces of memory.
type arena struct{ pieces [][]byte }

// A span is where a string lies in an arena: number of the piece, offset, length.
type span struct{ piece, at, n uint32 }

const pieceSize = 1 << 20

func (a *arena) add(s []byte) span {
	last := len(a.pieces) - 1
	if last < 0 || cap(a.pieces[last])-len(a.pieces[last]) < len(s) {
		a.pieces = append(a.pieces, make([]byte, 0, max(pieceSize, len(s))))
		last++
	}
	at := len(a.pieces[last])
	a.pieces[last] = append(a.pieces[last], s...)
	return span{uint32(last), uint32(at), uint32(len(s))}
}

func (a *arena) get(s span) []byte { return a.pieces[s.piece][s.at : s.at+s.n : s.at+s.n] }

// chunked is a slice that grows without copying: doubling one of a million takes three times its
// size for a moment.
type chunked[T any] struct{ chunks [][]T }

const chunkSize = 1 << 12

func (c *chunked[T]) add(v T) {
	last := len(c.chunks) - 1
	if last < 0 || len(c.chunks[last]) == chunkSize {
		c.chunks = append(c.chunks, make([]T, 0, chunkSize))
		last++
	}
	c.chunks[last] = append(c.chunks[last], v)
}

func (c *chunked[T]) len() int {
	if len(c.chunks) == 0 {
		return 0
	}
	last := len(c.chunks) - 1
	return last*chunkSize + len(c.chunks[last])
}

func (c *chunked[T]) at(i int) *T { return &c.chunks[i/chunkSize][i%chunkSize] }
