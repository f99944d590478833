package after

import (
	"cmp"
	"slices"
	"sort"
	"strings"
	"sync"

	"loadline/checks/digest"
	"loadline/checks/internal/compact"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// A tree is the files of the source with what is known of their copies. It holds no pointer a file:
// about 140 bytes and the name each.
type tree struct {
	mu      sync.Mutex
	folders []folder
	byPath  map[string]int32
	forms   map[string]int32 // folders by the NFC of their paths, once a form is asked for
	files   compact.List[entry]
	names   compact.Strings

	count, bytes, links, others int64
}

// A folder is one of the source. Its files are numbered first to last-1, sorted by name.
type folder struct {
	path        string
	first, last int32
	onShare     bool // it was listed there
	broken      bool // it is there, but its listing broke off
}

type entry struct {
	size   int64
	mtime  int64        // modification time of the source, nanoseconds since 1970, or the nearest there is
	before int64        // when an earlier run read the source, seconds since 1970; 0 where none did, or it changed
	kin    digest.Ident // what an earlier state of the source is known by
	name   compact.Span
	folder int32
	flags  flags
	sums   sums.Sums // of the source, as it is or as an earlier run read it
	share  [32]byte  // SHA-256 of the copy, once shareRead
}

type flags uint16

const (
	onShare    flags = 1 << iota // there is something of this name
	otherForm                    // its name there has another normal form
	sameSize                     // a file of the same size
	newer                        // the source was modified after the copy
	readBefore                   // an earlier run read the source, and it is unchanged since
	sourceRead                   // sums hold
	shareRead                    // share holds
	leftOut                      // clutter that was not copied
	spoiled                      // a finding keeps it from being proven
)

// addFolder takes a folder of the source and returns what gives its files their numbers. Safe for
// concurrent use.
func (t *tree) addFolder(d *walk.Dir) (number func(name string) int) {
	files := make([]*walk.Entry, 0, len(d.Entries))
	links, others := int64(0), int64(0)
	for i := range d.Entries {
		switch e := &d.Entries[i]; e.Kind {
		case walk.File:
			if !e.Failed {
				files = append(files, e)
			}
		case walk.Link:
			links++
		case walk.Other:
			others++
		}
	}
	slices.SortFunc(files, func(a, b *walk.Entry) int { return cmp.Compare(a.Name, b.Name) })
	t.mu.Lock()
	defer t.mu.Unlock()
	t.links += links
	t.others += others
	id := int32(len(t.folders))
	first := int32(t.files.Len())
	for _, e := range files {
		t.files.Add(entry{name: t.names.Add([]byte(e.Name)), folder: id, size: e.Size, mtime: nanoseconds(e)})
		t.count++
		t.bytes += e.Size
	}
	t.folders = append(t.folders, folder{path: d.Path, first: first, last: first + int32(len(files))})
	t.byPath[d.Path] = id
	return func(name string) int {
		i, ok := slices.BinarySearchFunc(files, name, func(e *walk.Entry, name string) int { return cmp.Compare(e.Name, name) })
		if !ok {
			return -1
		}
		return int(first) + i
	}
}

// ofForm returns the folder whose path has the same NFC as a path, if there is one.
func (t *tree) ofForm(path string) (id int32, ok bool) {
	if names.IsASCII(path) {
		return 0, false
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.forms == nil {
		t.forms = make(map[string]int32, len(t.folders))
		for i := range t.folders {
			t.forms[names.NFC(t.folders[i].path)] = int32(i)
		}
	}
	id, ok = t.forms[names.NFC(path)]
	return id, ok
}

// inForm returns the number of the file of a folder whose name has the same NFC as name and that others does
// not hold, -1 if there is none.
func (t *tree) inForm(id int32, name string, others func(name string) bool) int {
	if names.IsASCII(name) {
		return -1
	}
	f, want := &t.folders[id], names.NFC(name)
	for i := int(f.first); i < int(f.last); i++ {
		if n := string(t.names.Get(t.files.At(i).name)); names.NFC(n) == want && !others(n) {
			return i
		}
	}
	return -1
}

// path returns the path of a file relative to the source.
func (t *tree) path(i int) string {
	e := t.files.At(i)
	name := t.names.Get(e.name)
	return names.Join(t.folders[e.folder].path, string(name))
}

// find returns the number of a file, -1 if the source does not hold it.
func (t *tree) find(path string) int {
	dir, name := names.Split(path)
	id, ok := t.byPath[dir]
	if !ok {
		return -1
	}
	return t.in(id, name)
}

// in returns the number of a file of one folder, -1 if that does not hold it.
func (t *tree) in(id int32, name string) int {
	f := &t.folders[id]
	n := int(f.last - f.first)
	k := sort.Search(n, func(k int) bool { return string(t.names.Get(t.files.At(int(f.first)+k).name)) >= name })
	if i := int(f.first) + k; k < n && string(t.names.Get(t.files.At(i).name)) == name {
		return i
	}
	return -1
}

// nanoseconds is the modification time of an entry, kept within what 64 bits hold (1678 to 2262).
func nanoseconds(e *walk.Entry) int64 {
	const most = 9_223_372_036
	return max(min(e.Sec, most-1), -most+1)*1e9 + int64(e.Nsec)
}

// byName returns the numbers of all files in the bytewise order of their paths.
func (t *tree) byName() []int32 {
	order := make([]int32, t.files.Len())
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(x, y int32) int { return t.compare(int(x), int(y)) })
	return order
}

// compare compares the paths of two files without joining them.
func (t *tree) compare(x, y int) int {
	a, b := t.files.At(x), t.files.At(y)
	if a.folder == b.folder {
		return strings.Compare(string(t.names.Get(a.name)), string(t.names.Get(b.name)))
	}
	p, q := t.folders[a.folder].path, t.folders[b.folder].path
	n := min(len(p), len(q))
	if c := strings.Compare(p[:n], q[:n]); c != 0 {
		return c
	}
	return strings.Compare(t.path(x)[n:], t.path(y)[n:])
}
