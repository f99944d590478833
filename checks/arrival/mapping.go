package arrival

import (
	"bytes"
	"cmp"
	"strings"

	"loadline/checks/arrival/listing"
	"loadline/checks/internal/compact"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// A mapping says how keys and paths of a manifest correspond: key = keyHead + the path without its
// pathHead. Both heads end with "/" or are empty.
type mapping struct {
	keyHead  string
	pathHead string
}

// path returns the path that a decoded key stands for; false where the key is outside.
func (m *mapping) path(key []byte) ([]byte, bool) {
	if len(key) < len(m.keyHead) || string(key[:len(m.keyHead)]) != m.keyHead {
		return key, false
	}
	rest := key[len(m.keyHead):]
	if m.pathHead == "" {
		return rest, true
	}
	return append([]byte(m.pathHead), rest...), true
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
	ends    map[string][]int32  // folded end of a sampled path, whole parts, to samples that have it
	last    map[uint64]struct{} // hashes of their folded last parts: most keys end otherwise, and are done with
	sizes   map[int64]struct{}
	samples []sampled
	sized   bool // only keys of the right size vote
	votes   map[mapping]*[len(listing.Readings)]int64
}

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

func newFinder(x *manifest.Index, sized bool) *finder {
	f := &finder{
		ends: map[string][]int32{}, last: map[uint64]struct{}{}, sizes: map[int64]struct{}{}, sized: sized,
		votes: map[mapping]*[len(listing.Readings)]int64{},
	}
	step := max(x.Len()/sampleSize, 1)
	for i := 0; i < x.Len(); i += step {
		s := sampled{x.Path(i), x.Size(i)}
		id := int32(len(f.samples))
		f.samples = append(f.samples, s)
		f.sizes[s.size] = struct{}{}
		f.last[foldedHash([]byte(s.path))] = struct{}{}
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

// foldedHash hashes the folded last part of a path (FNV-1a).
func foldedHash(path []byte) uint64 {
	name := path[bytes.LastIndexByte(path, '/')+1:]
	h := uint64(fnvStart)
	for _, c := range name {
		if c >= 0x80 {
			h = fnvStart
			for _, c := range []byte(names.Fold(string(name))) {
				h = (h ^ uint64(c)) * fnvPrime
			}
			return h
		}
		if c >= 'A' && c <= 'Z' {
			c += 'a' - 'A'
		}
		h = (h ^ uint64(c)) * fnvPrime
	}
	return h
}

const (
	fnvStart = 14695981039346656037
	fnvPrime = 1099511628211
)

// see lets one key vote, as it is read under a reading.
func (f *finder) see(key []byte, size int64, r listing.Reading) {
	if f.sized && size >= 0 {
		if _, ok := f.sizes[size]; !ok {
			return
		}
	}
	if _, ok := f.last[foldedHash(key)]; ok {
		f.vote(string(key), size, r)
	}
}

func (f *finder) vote(key string, size int64, r listing.Reading) {
	end := names.Fold(key)
	for dropped := range deepestEnds {
		for _, id := range f.ends[end] {
			s := &f.samples[id]
			if f.sized && size >= 0 && size != s.size {
				continue
			}
			m := mapping{
				keyHead:  headOf(key, dropped),
				pathHead: headOf(s.path, strings.Count(s.path, "/")-strings.Count(end, "/")),
			}
			// One of the two must be empty: where both sides call a folder differently,
			// anything else would be guessing.
			if m.keyHead != "" && m.pathHead != "" {
				continue
			}
			v := f.votes[m]
			if v == nil {
				if len(f.votes) == mostVotes {
					continue
				}
				v = new([len(listing.Readings)]int64)
				f.votes[m] = v
			}
			v[r]++
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

// best returns the mapping with the most votes under a reading. Between equals the wanted one wins, then the one
// with the shorter heads, then the first in bytewise order.
// Where several manifests may hold the same files, strict says that the wanted one wins as soon as it has a vote: the
// files may be there under those of the others too.
func (f *finder) best(r listing.Reading, want mapping, strict bool) (mapping, bool) {
	if v := f.votes[want]; strict && v != nil && v[r] > 0 {
		return want, true
	}
	var best mapping
	won := int64(0)
	for m, v := range f.votes {
		if v[r] > 0 && (won == 0 || cmp.Or(
			cmp.Compare(v[r], won),
			compareBool(m == want, best == want),
			cmp.Compare(len(best.keyHead)+len(best.pathHead), len(m.keyHead)+len(m.pathHead)),
			strings.Compare(best.keyHead, m.keyHead),
			strings.Compare(best.pathHead, m.pathHead),
		) > 0) {
			best, won = m, v[r]
		}
	}
	return best, won > 0
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

// coded holds the keys of which the readings may differ, as far as they fit.
type coded struct {
	keys  compact.Strings
	spans compact.List[compact.Span]
	bytes int
	over  bool // there are more of them
}

const mostCoded = 64 << 20 // bytes

func (c *coded) add(key []byte) {
	if c.over {
		return
	}
	if c.bytes += len(key); c.bytes > mostCoded {
		*c = coded{over: true}
		return
	}
	c.spans.Add(c.keys.Add(key))
}

// each passes all keys on.
func (c *coded) each(look func(key []byte)) {
	for s := range c.spans.All() {
		look(c.keys.Get(*s))
	}
}
