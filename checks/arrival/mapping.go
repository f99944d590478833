package arrival

import (
	"cmp"
	"net/url"
	"strings"

	"loadline/checks/names"
)

// A mapping says how keys and paths of a manifest correspond: key = keyHead + the path without its
// pathHead. Both heads end with "/" or are empty.
type mapping struct {
	keyHead  string
	pathHead string
	coded    bool // the listing codes its keys with percent signs
}

// path returns the path that a key stands for; false where the key lies outside.
func (m *mapping) path(key string) (string, bool) {
	if m.coded {
		if decoded, err := url.PathUnescape(key); err == nil {
			key = decoded
		}
	}
	rest, ok := strings.CutPrefix(key, m.keyHead)
	return m.pathHead + rest, ok
}

// expected is the mapping that a copy into prefix should give.
func expected(prefix string) mapping {
	if prefix = strings.Trim(prefix, "/"); prefix != "" {
		prefix += "/"
	}
	return mapping{keyHead: prefix}
}

// A finder finds the mapping: every key is compared, by the ends of its path, with a sample of the
// manifest, and votes for the mapping under which it would be one of them.
type finder struct {
	ends  map[string][]int32 // folded end of a sampled path, whole parts, to samples that have it
	parts []sampled
	votes map[heads]*ballot
	sizes bool // only keys of the right size vote
	keys  int64
}

// heads is a mapping without its coding.
type heads struct{ keyHead, pathHead string }

// A ballot counts the votes for one pair of heads.
type ballot struct {
	plain   int // keys without a percent sign
	raw     int // keys with one, taken as they are
	decoded int // keys with one, decoded
}

func (b *ballot) total() int { return b.plain + max(b.raw, b.decoded) }

type sampled struct {
	path string
	size int64
}

const (
	sampleSize  = 1024  // files of the manifest that are compared
	mostVotes   = 10000 // mappings that are counted, so that memory is bounded
	mostPerEnd  = 8     // samples for one end: "IMG.MOV" may stand in every folder
	deepestEnds = 64    // parts of a path that are compared
)

func newFinder(ix *index) *finder {
	f := &finder{ends: map[string][]int32{}, votes: map[heads]*ballot{}, sizes: true}
	n := ix.files.Len()
	step := max(n/sampleSize, 1)
	for i := 0; i < n; i += step {
		s := sampled{string(ix.path(i)), ix.files.At(i).size}
		id := int32(len(f.parts))
		f.parts = append(f.parts, s)
		folded := names.Fold(s.path)
		for range deepestEnds {
			if len(f.ends[folded]) < mostPerEnd {
				f.ends[folded] = append(f.ends[folded], id)
			}
			var more bool
			if _, folded, more = strings.Cut(folded, "/"); !more {
				break
			}
		}
	}
	return f
}

// look lets one row vote.
func (f *finder) look(row *Row) {
	f.keys++
	if strings.IndexByte(row.Key, '%') < 0 {
		f.vote(row.Key, row.Size, func(b *ballot) { b.plain++ })
		return
	}
	f.vote(row.Key, row.Size, func(b *ballot) { b.raw++ })
	if decoded, err := url.PathUnescape(row.Key); err == nil {
		f.vote(decoded, row.Size, func(b *ballot) { b.decoded++ })
	}
}

func (f *finder) vote(key string, size int64, count func(*ballot)) {
	end := names.Fold(key)
	for dropped := range deepestEnds {
		for _, id := range f.ends[end] {
			s := &f.parts[id]
			if f.sizes && size >= 0 && size != s.size {
				continue
			}
			h := heads{
				keyHead:  headOf(key, dropped),
				pathHead: headOf(s.path, strings.Count(s.path, "/")-strings.Count(end, "/")),
			}
			// One of the two must be empty: where both sides call a folder differently,
			// anything else would be guessing.
			if h.keyHead != "" && h.pathHead != "" {
				continue
			}
			b := f.votes[h]
			if b == nil {
				if len(f.votes) == mostVotes {
					continue
				}
				b = &ballot{}
				f.votes[h] = b
			}
			count(b)
		}
		var more bool
		if _, end, more = strings.Cut(end, "/"); !more {
			return
		}
	}
}

// headOf returns the first n parts of a path with their slashes.
func headOf(path string, n int) string {
	at := 0
	for range n {
		at += strings.IndexByte(path[at:], '/') + 1
	}
	return path[:at]
}

// best returns the mapping with the most votes. Between equals the wanted one wins, then the one
// with the shorter heads, then the first in bytewise order.
func (f *finder) best(want mapping) (mapping, bool) {
	wanted := heads{want.keyHead, want.pathHead}
	var best heads
	var won *ballot
	for h, b := range f.votes {
		if won == nil || cmp.Or(
			cmp.Compare(b.total(), won.total()),
			compareBool(h == wanted, best == wanted),
			cmp.Compare(len(best.keyHead)+len(best.pathHead), len(h.keyHead)+len(h.pathHead)),
			strings.Compare(best.keyHead, h.keyHead),
			strings.Compare(best.pathHead, h.pathHead),
		) > 0 {
			best, won = h, b
		}
	}
	if won == nil {
		return mapping{}, false
	}
	return mapping{best.keyHead, best.pathHead, won.decoded > won.raw}, true
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}
