package arrival

import (
	"hash/maphash"
	"sort"

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

// find returns the number of a file, -1 if the manifest does not hold it. The files of a manifest are sorted.
func (ix *index) find(path string) int {
	n := ix.files.Len()
	i := sort.Search(n, func(i int) bool { return string(ix.path(i)) >= path })
	if i == n || string(ix.path(i)) != path {
		return -1
	}
	return i
}

var foldSeed = maphash.MakeSeed()

// foldHash is equal for paths that differ in normal form or case only.
func (ix *index) foldHash(path string) uint64 {
	return maphash.String(foldSeed, names.Fold(path))
}
