package names

import (
	"cmp"
	"hash/maphash"
	"math/bits"
	"slices"
)

// TwinKind says how the names of a group of twins collide.
type TwinKind uint8

// The kinds.
const (
	SameForm TwinKind = iota // equal in NFC: one name in two spellings of bytes
	SameCase                 // equal after Fold, with two or more different NFCs among them
)

// Twins finds names of one folder that collide. It keeps its scratch memory, at most 10 bytes a name of
// the largest folder while nothing collides, from folder to folder. The zero value is ready. Not safe for
// concurrent use.
type Twins struct {
	seen    []uint32 // a table of hashes; see mayCollide
	keys    []uint64 // hash of the folded form above, index of the name below
	folder  folder
	near    []near
	members []int
	groups  []group
}

type near struct {
	fold, nfc, name string
	index           int
}

type group struct {
	first      string
	kind       TwinKind
	start, end int // in members
}

// seed keeps anybody from making names on purpose that all have one hash.
var seed = maphash.MakeSeed()

// Find looks at n names with their traits and reports every group of twins: for SameForm all valid
// names that share one NFC, for SameCase all valid names that share one folded form, if their NFCs
// differ. One name can stand in a group of each kind. Members come sorted by name, groups by the
// name of their first member, then SameForm before SameCase, whatever the order of the names was.
// Names that are not valid UTF-8 take no part. The members must not be kept after report returns.
// Takes time n log n, n while nothing collides, and does not allocate for a folder of ASCII names
// without twins once its scratch is as large as the folder.
func (t *Twins) Find(n int, name func(int) string, traits func(int) Traits, report func(kind TwinKind, members []int)) {
	if n < 2 || !t.mayCollide(n, name, traits) {
		return
	}
	// A hash may lose its upper bits to the index: what has equal keys is compared in full.
	shift := bits.Len(uint(n - 1))
	t.keys = slices.Grow(t.keys[:0], n)
	for i := range n {
		kind := traits(i)
		if kind.Any(Invalid) {
			continue
		}
		t.keys = append(t.keys, t.hash(name(i), kind)<<shift|uint64(i))
	}
	slices.Sort(t.keys)
	for i := 0; i < len(t.keys); {
		j := i + 1
		for j < len(t.keys) && t.keys[i]>>shift == t.keys[j]>>shift {
			j++
		}
		if j-i > 1 {
			t.compare(t.keys[i:j], uint64(1)<<shift-1, name)
		}
		i = j
	}
	t.emit(report)
}

// mayCollide tells folders in which all folded forms have different hashes, which are nearly all: nothing in
// them has to be sorted. Half of a hash says where in the table it belongs, in the first free place from there on,
// the other half is what stands there.
func (t *Twins) mayCollide(n int, name func(int) string, traits func(int) Traits) bool {
	size := 1 << bits.Len(uint(n+n/4))
	t.seen = slices.Grow(t.seen[:0], size)[:size]
	clear(t.seen)
	for i := range n {
		kind := traits(i)
		if kind.Any(Invalid) {
			continue
		}
		h := t.hash(name(i), kind)
		stamp := uint32(h>>32) | 1 // 0 is a free place
		at := int(h) & (size - 1)
		for ; t.seen[at] != 0; at = (at + 1) & (size - 1) {
			if t.seen[at] == stamp {
				return true
			}
		}
		t.seen[at] = stamp
	}
	return false
}

// emit reports the groups in their order and forgets them.
func (t *Twins) emit(report func(TwinKind, []int)) {
	if len(t.groups) == 0 {
		return
	}
	slices.SortFunc(t.groups, func(a, b group) int {
		return cmp.Or(cmp.Compare(a.first, b.first), cmp.Compare(a.kind, b.kind))
	})
	for _, g := range t.groups {
		report(g.kind, t.members[g.start:g.end:g.end])
	}
	t.members = t.members[:0]
	t.groups = t.groups[:0]
	clear(t.groups[:cap(t.groups)]) // holds on to no name
	if cap(t.near) > roomy {
		t.near = nil
	}
	if cap(t.members) > roomy {
		t.members, t.groups = nil, nil
	}
}

// roomy is how many names that collide the scratch keeps room for: a folder full of twins is rare.
const roomy = 1024

func (t *Twins) hash(name string, kind Traits) uint64 {
	if !kind.Any(NotASCII | Upper) {
		return maphash.String(seed, name)
	}
	return maphash.Bytes(seed, t.folder.form(name, kind))
}

// compare looks closely at names with one hash.
func (t *Twins) compare(keys []uint64, mask uint64, name func(int) string) {
	defer func() { clear(t.near); t.near = t.near[:0] }()
	for _, k := range keys {
		i := int(k & mask)
		s := name(i)
		t.near = append(t.near, near{Fold(s), NFC(s), s, i})
	}
	slices.SortFunc(t.near, func(a, b near) int {
		return cmp.Or(cmp.Compare(a.fold, b.fold), cmp.Compare(a.nfc, b.nfc),
			cmp.Compare(a.name, b.name), cmp.Compare(a.index, b.index))
	})
	for rest := t.near; len(rest) > 0; {
		n := span(rest, func(a *near) string { return a.fold })
		same := rest[:n]
		rest = rest[n:]
		if n == 1 {
			continue
		}
		forms := 0
		for left := same; len(left) > 0; forms++ {
			m := span(left, func(a *near) string { return a.nfc })
			if m > 1 {
				t.add(SameForm, left[:m])
			}
			left = left[m:]
		}
		if forms > 1 {
			slices.SortFunc(same, func(a, b near) int {
				return cmp.Or(cmp.Compare(a.name, b.name), cmp.Compare(a.index, b.index))
			})
			t.add(SameCase, same)
		}
	}
}

// span returns how many of s, from the first on, have the same key.
func span(s []near, key func(*near) string) int {
	n := 1
	for n < len(s) && key(&s[n]) == key(&s[0]) {
		n++
	}
	return n
}

func (t *Twins) add(kind TwinKind, s []near) {
	start := len(t.members)
	for i := range s {
		t.members = append(t.members, s[i].index)
	}
	t.groups = append(t.groups, group{s[0].name, kind, start, len(t.members)})
}
