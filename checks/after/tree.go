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
	"loadline/checks/walk"
)

// A tree is the files of the source with what is known of their copies. It holds no pointer a file:
// about 140 bytes and the name each.
type tree struct {
	mu      sync.Mutex
	folders []folder
	byPath  map[string]int32
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
	mtime  int64           // modification time of the source, nanoseconds since 1970, or the nearest there is
	idents [2]digest.Ident // of both sides as they were when they were read in an earlier run
	name   compact.Span
	folder int32
	rank   int32 // place among the files of its folder by inode number
	flags  flags
	sums   sums.Sums // of the source, once sourceRead
	share  [32]byte  // SHA-256 of the copy, once shareRead
}

type flags uint16

const (
	onShare     flags = 1 << iota // there is something of this name
	sameSize                      // a file of the same size
	newer                         // the source was modified after the copy
	sourceKnown                   // sums, idents of an earlier run stand here, not yet trusted
	shareKnown
	sourceRead // sums hold
	shareRead  // share holds
	leftOut    // clutter that was not copied
	spoiled    // a finding keeps it from being proven
)

// addFolder takes a folder of the source. Safe for concurrent use.
func (t *tree) addFolder(d *walk.Dir) {
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
	byInode := make([]int32, len(files))
	for i := range byInode {
		byInode[i] = int32(i)
	}
	slices.SortStableFunc(byInode, func(x, y int32) int { return cmp.Compare(files[x].Inode, files[y].Inode) })
	rank := make([]int32, len(files))
	for place, i := range byInode {
		rank[i] = int32(place)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.links += links
	t.others += others
	id := int32(len(t.folders))
	first := int32(t.files.Len())
	for i, e := range files {
		t.files.Add(entry{name: t.names.Add([]byte(e.Name)), folder: id, size: e.Size, rank: rank[i], mtime: nanoseconds(e)})
		t.count++
		t.bytes += e.Size
	}
	t.folders = append(t.folders, folder{path: d.Path, first: first, last: first + int32(len(files))})
	t.byPath[d.Path] = id
}

// path returns the path of a file relative to the source.
func (t *tree) path(i int) string {
	e := t.files.At(i)
	name := t.names.Get(e.name)
	if p := t.folders[e.folder].path; p != "" {
		return p + "/" + string(name)
	}
	return string(name)
}

// find returns the number of a file, -1 if the source does not hold it.
func (t *tree) find(path string) int {
	dir, name := "", path
	if at := strings.LastIndexByte(path, '/'); at >= 0 {
		dir, name = path[:at], path[at+1:]
	}
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

// byPosition returns the numbers of all files folder by folder, and in each by inode number: many
// file systems lay out the files of a folder in that order, so the heads of a disk move less.
func (t *tree) byPosition() []int32 {
	folders := make([]int32, len(t.folders))
	for i := range folders {
		folders[i] = int32(i)
	}
	slices.SortFunc(folders, func(a, b int32) int { return strings.Compare(t.folders[a].path, t.folders[b].path) })
	order := make([]int32, t.files.Len())
	start := int32(0)
	for _, id := range folders {
		f := &t.folders[id]
		for i := f.first; i < f.last; i++ {
			order[start+t.files.At(int(i)).rank] = i
		}
		start += f.last - f.first
	}
	return order
}
