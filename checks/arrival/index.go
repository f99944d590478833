package arrival

import (
	"hash/maphash"
	"math/bits"

	"loadline/checks/internal/compact"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// An index holds a manifest in memory without a pointer a file: about 90 bytes and its path each, so
// a million files of 80 bytes take 180 MB and cost the collector nothing.
type index struct {
	head  *manifest.Header
	paths compact.Strings
	files compact.List[indexed]
	slots []uint32 // open addressing: number of the file plus one
	seed  maphash.Seed
}

type indexed struct {
	path  compact.Span
	size  int64
	sums  sums.Sums
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

func (ix *index) add(f *manifest.File) error {
	ix.files.Add(indexed{path: ix.paths.Add(f.Path), size: f.Size, sums: f.Sums})
	return nil
}

// build makes the index ready for find.
func (ix *index) build() {
	n := ix.files.Len()
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
	for _, c := range ix.files.Chunks {
		for i := range c {
			if c[i].state == m {
				n++
			}
		}
	}
	return n
}

// path returns the path of a file; it must not be changed.
func (ix *index) path(i int) []byte { return ix.paths.Get(ix.files.At(i).path) }

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
