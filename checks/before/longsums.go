package before

import (
	"context"
	"crypto/sha512"
	"hash"
	"io"
	"path/filepath"
	"sync"

	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/share"
)

// longSums make SHA-512 of those files that a list has it of, as most manifests of bags do (RFC 8493 section 2.4).
type longSums struct {
	mu     sync.Mutex
	making map[string]hash.Hash // by path
}

// makeLong returns what takes the content of a file to make its SHA-512; nil where no list has it, or it is remembered.
func (e *diskReading) makeLong(f *digest.File) io.Writer {
	want, long := e.lists.wanted(f.Path)
	if !long {
		return nil
	}
	if e.memory.Known() > 0 {
		id, err := share.Guard(context.Background(), readPatience, func() (digest.Ident, error) {
			s, err := disk.Lstat(filepath.Join(e.root, filepath.FromSlash(f.Path)))
			return e.places.IdentOf(f.Path, &s), err
		})
		if rec, ok := e.memory.Find(id); err == nil && ok && rec.Whole() && rec.Sums.Has&want == want && e.knownLong(id) != nil {
			return nil
		}
	}
	h := sha512.New()
	e.long.mu.Lock()
	defer e.long.mu.Unlock()
	if e.long.making == nil {
		e.long.making = map[string]hash.Hash{}
	}
	e.long.making[f.Path] = h
	return h
}

// longOf returns the SHA-512 of a file that was read or is known, nil where there is none, and remembers it.
func (e *diskReading) longOf(f *digest.Result) []byte {
	if !e.lists.long {
		return nil
	}
	e.long.mu.Lock()
	h := e.long.making[f.Path]
	delete(e.long.making, f.Path)
	e.long.mu.Unlock()
	switch {
	case !f.Whole():
		return nil
	case h == nil:
		return e.knownLong(f.Ident)
	}
	sum := [sha512.Size]byte(h.Sum(nil))
	e.memory.AddSHA512(f, &sum)
	return sum[:]
}

// knownLong returns the SHA-512 that is remembered of a state of a file, nil where none is.
func (e *diskReading) knownLong(id digest.Ident) []byte {
	if sum, ok := e.memory.SHA512(id); ok {
		return sum[:]
	}
	return nil
}

// wanted says which digests the lists have of a file, and whether SHA-512 is one.
func (k *knownLists) wanted(file string) (set sums.Set, long bool) {
	if !k.long {
		return 0, false
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	from, to := k.naming(file)
	for _, l := range k.lines[from:to] {
		set |= l.kind
	}
	return set &^ knownSHA512, set&knownSHA512 != 0
}
