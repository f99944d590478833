package split

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/internal/compact"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// gathered is what the walk brings home, a part for each worker.
type gathered struct {
	unit    int64
	workers []gatherer
}

type gatherer struct {
	kept    compact.Strings // the records of folders
	folders []found
	left    []Left
	buf     []byte
	_       [64]byte // keeps two workers off one cache line
}

// A found folder is one visit of the walk.
type found struct {
	path   string
	own    sum
	marks  names.Marks
	shelf  bool // it holds no file of its own, clutter aside
	record compact.Span
	by     *gatherer
}

func newGathered(unit int64, workers int) *gathered {
	return &gathered{unit: unit, workers: make([]gatherer, workers)}
}

// A sum counts files. Folders are those that hold one, at any depth.
type sum struct {
	files, folders, bytes int64
	need                  int64 // bytes in whole allocation units
	largest               int64
}

func (s *sum) add(o sum) {
	s.files += o.files
	s.folders += o.folders
	s.bytes = walk.AddSizes(s.bytes, o.bytes)
	s.need = walk.AddSizes(s.need, o.need)
	s.largest = max(s.largest, o.largest)
}

func fileSum(size, unit int64) sum {
	return sum{files: 1, bytes: size, need: checks.RoundUp(size, unit), largest: size}
}

// gather keeps the names and sizes of the files in one folder that are to be copied.
func gather(pass *checks.Pass, d *walk.Dir) {
	g := pass.State.(*gathered)
	w := &g.workers[d.Worker]
	f := found{path: strings.Clone(d.Path), shelf: true, by: w}
	leave := func(path, why string) {
		w.left = append(w.left, Left{Path: strings.Clone(path), Rule: onNoList, Why: why})
	}
	// What is not on a copy list was left out on purpose, and nobody misses clutter.
	closed := func(path, why string, err error) {
		if pass.Job.CopiesFolder(path) && names.ClutterAbove(path) == "" {
			leave(path, why+checks.Reason(err))
		}
	}
	missed := func(e *walk.Entry) bool { return pass.Copied(d, e) && !names.Clutter(e.Name) }
	switch {
	case d.Loop:
		closed(d.Path, "", errors.New("it is one of the folders above it once more"))
	case d.Err != nil && d.Depth > 0:
		closed(d.Path, "the folder cannot be listed: ", d.Err)
	}
	w.buf = w.buf[:0]
	for i := range d.Entries {
		e := &d.Entries[i]
		f.marks.See(e.Name, e.Kind == walk.Folder)
		switch {
		case e.Failed && e.Kind == walk.Folder:
			closed(d.Join(e.Name), "the folder cannot be looked at: ", d.Why(e.Name))
		case e.Kind == walk.Folder:
		case e.Failed:
			if missed(e) {
				leave(d.Join(e.Name), "it cannot be looked at: "+checks.Reason(d.Why(e.Name)))
			}
		case e.Kind == walk.Link:
			if missed(e) {
				leave(d.Join(e.Name), "it is a link, and a copy list names files")
			}
		case e.Kind == walk.Other:
			if missed(e) {
				leave(d.Join(e.Name), "it is a special file, and a copy list names plain ones")
			}
		default:
			if !names.Clutter(e.Name) && !strings.HasPrefix(e.Name, names.Companion) {
				f.shelf = false
			}
			if !pass.Copied(d, e) {
				continue
			}
			f.own.add(fileSum(e.Size, g.unit))
			w.buf = binary.AppendUvarint(w.buf, uint64(e.Size))
			w.buf = binary.AppendUvarint(w.buf, uint64(len(e.Name)))
			w.buf = append(w.buf, e.Name...)
		}
	}
	f.record = w.kept.Add(w.buf)
	w.folders = append(w.folders, f)
}

// A node is a folder of the source.
type node struct {
	found
	name   string
	parent *node
	kids   []*node // in the order of compareFolders
	all    sum     // with what is below
	whole  string  // why it stays whole unless it is larger than every box; empty for a shelf

	opened string  // why it was opened; empty where it was not
	box    int     // where it lies as a whole, if it was not opened
	boxes  []int32 // where its own files lie, in order of their names, if it was
}

// none is the box of what fits into none.
const none = -1

// A file is one entry of a folder's record.
type file struct {
	name string
	size int64
}

// files returns the files of the folder that are to be copied, sorted by name.
func (n *node) files() []file {
	list := make([]file, 0, n.own.files)
	for b := n.by.kept.Get(n.record); len(b) > 0; {
		size, at := binary.Uvarint(b)
		length, k := binary.Uvarint(b[at:])
		at += k
		list = append(list, file{string(b[at : at+int(length)]), int64(size)})
		b = b[at+int(length):]
	}
	slices.SortFunc(list, func(a, b file) int { return strings.Compare(a.name, b.name) })
	return list
}

// compareFolders orders folders as the paths of what is in them are ordered by their bytes. A folder comes
// after those above it.
func compareFolders(a, b string) int {
	n := min(len(a), len(b))
	if c := strings.Compare(a[:n], b[:n]); c != 0 || len(a) == len(b) {
		return c
	}
	if len(a) < len(b) {
		return cmp.Or(cmp.Compare('/', b[n]), -1)
	}
	return cmp.Or(cmp.Compare(a[n], '/'), 1)
}

// tree ties the folders together and sums them up. Of a folder that was visited without the one above it,
// there is none: every folder that is visited was listed there.
func (g *gathered) tree(source string) (*node, error) {
	at := map[string]*node{}
	var all []*node
	for i := range g.workers {
		for _, f := range g.workers[i].folders {
			n := &node{found: f, name: path.Base(f.path), all: f.own}
			at[f.path] = n
			all = append(all, n)
		}
	}
	root := at[""]
	if root == nil {
		return nil, fmt.Errorf("%w: the source was not read", checks.ErrBadJob)
	}
	root.name = path.Base(source)
	slices.SortFunc(all, func(a, b *node) int { return compareFolders(a.path, b.path) })
	for _, n := range all {
		if n == root {
			continue
		}
		above := path.Dir(n.path)
		if above == "." {
			above = ""
		}
		if n.parent = at[above]; n.parent == nil {
			return nil, fmt.Errorf("the folder %s was found, but not the one above it", names.Quote(n.path))
		}
		n.parent.kids = append(n.parent.kids, n)
	}
	for _, n := range slices.Backward(all) {
		if n.all.files > 0 && n.parent != nil {
			n.all.folders++
		}
		if n.parent != nil {
			n.parent.all.add(n.all)
		}
		n.keep()
	}
	return root, nil
}

// keep says why a folder stays whole, and marks those above a card that belong to it. What is below a folder
// comes first.
func (n *node) keep() {
	if names.BundleName(n.name) {
		n.whole = "its desktop shows it as one file"
		return
	}
	if l, ok := names.LayoutOf(n.name, n.marks); ok {
		n.whole = "it is " + l.Title
		// The folder that holds the structure is the card, with all that the camera put beside it. The
		// source itself may hold anything.
		for top := n.parent; l.OwnName && top != nil && top.parent != nil; top = top.parent {
			top.whole = n.whole
			if !names.AboveCard(top.name) {
				break
			}
		}
		return
	}
	if n.whole == "" && !n.shelf && n.parent != nil {
		n.whole = "it holds files of its own"
	}
}
