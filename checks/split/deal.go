package split

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/walk"
)

const tooLarge = "with its margin it is larger than every box"

// A piece goes into one box as a whole.
type piece struct {
	sum
	path string  // by which it is sorted
	of   *node   // the folder, or the one in which the files lie
	some []int32 // numbers of files of that folder, in order of their names; nil for the whole folder
}

// larger reports whether no box has room for a piece, be it empty.
func (p *piece) larger(boxes []Box) bool {
	return !slices.ContainsFunc(boxes, func(b Box) bool { return (&load{Box: b}).takes(p) })
}

// openable says why a piece may be opened where it found no room, empty if it may not.
func (p *piece) openable(boxes []Box) string {
	switch larger := p.larger(boxes); {
	case larger && (p.some == nil || len(p.some) > 1):
		return tooLarge
	case p.some == nil && p.of.whole == "":
		return "no box has room for it as a whole, and it holds only folders"
	}
	return ""
}

// open returns the parts of a piece.
func (p *piece) open(unit int64) []*piece {
	if p.some != nil {
		return p.of.pieces(unit, p.some, func(f file) string { return f.name })
	}
	var parts []*piece
	for _, k := range p.of.kids {
		if k.all.files > 0 {
			parts = append(parts, &piece{sum: k.all, path: k.path + "/", of: k})
		}
	}
	return append(parts, p.of.pieces(unit, nil, nil)...)
}

// pieces groups files of the folder, all where none are named, by a key, or by their stem.
func (n *node) pieces(unit int64, which []int32, key func(file) string) []*piece {
	if n.own.files == 0 {
		return nil
	}
	list := n.files()
	if which == nil {
		which = make([]int32, len(list))
		for i := range which {
			which[i] = int32(i)
		}
	}
	if key == nil {
		beside := func(name string) bool {
			_, found := slices.BinarySearchFunc(list, name, func(f file, name string) int { return strings.Compare(f.name, name) })
			return found
		}
		key = func(f file) string { return names.Fold(names.Stem(f.name, beside)) }
	}
	var parts []*piece
	at := map[string]*piece{}
	for _, i := range which {
		k := key(list[i])
		p := at[k]
		if p == nil {
			p = &piece{path: names.Join(n.path, list[i].name), of: n}
			at[k] = p
			parts = append(parts, p)
		}
		p.some = append(p.some, i)
		p.add(fileSum(list[i].size, unit))
	}
	return parts
}

// A load is a box while it is filled.
type load struct {
	Box
	sum
	above map[*node]bool // folders above what is in it
}

// takes reports whether a box has room for a piece and its margin.
func (l *load) takes(p *piece) bool {
	n := checks.Need{Bytes: walk.AddSizes(l.need, p.need), Largest: max(l.largest, p.largest)}
	if n.Room() > l.Size {
		return false
	}
	return l.Inodes == 0 || l.files+l.folders+p.sum.files+p.folders+int64(len(l.newAbove(p))) <= l.Inodes
}

// newAbove returns the folders above a piece that the box does not have yet.
func (l *load) newAbove(p *piece) []*node {
	n := p.of
	if p.some == nil {
		n = n.parent
	}
	var list []*node
	for ; n != nil && n.parent != nil && !l.above[n]; n = n.parent {
		list = append(list, n)
	}
	return list
}

func (l *load) put(p *piece) {
	for _, n := range l.newAbove(p) {
		if l.above == nil {
			l.above = map[*node]bool{}
		}
		l.above[n] = true
		l.folders++
	}
	l.add(p.sum)
}

// A round is one way to deal out pieces.
type round struct {
	pieces []*piece
	box    []int // of each piece
	left   sum   // what fits nowhere
	opened map[*node]string
}

// deal fills the boxes: first fit by decreasing size, the pieces that fit nowhere opened round by round.
// The round that leaves the fewest bytes counts, of equals the one that leaves the fewest files, of equals the
// first, in which more stays together.
func (p *Plan) deal(ctx context.Context, pass *checks.Pass, o Options) error {
	g := pass.State.(*gathered)
	root, err := g.tree(pass.Job.Source)
	if err != nil {
		return err
	}
	p.root, p.Files, p.Bytes = root, root.all.files, root.all.bytes
	for i := range g.workers {
		p.Left = append(p.Left, g.workers[i].left...)
	}
	if p.Files == 0 {
		return &checks.JobError{Field: checks.FieldSource, Err: fmt.Errorf("no file of the source is to be copied"), Hint: "choose another folder"}
	}
	opened := map[*node]string{}
	pieces := []*piece{{sum: root.all, path: "", of: root}}
	var best *round
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		r := fill(pieces, o.Boxes)
		if best == nil || cmp.Or(cmp.Compare(r.left.need, best.left.need), cmp.Compare(r.left.files, best.left.files)) < 0 {
			r.opened = make(map[*node]string, len(opened))
			for n, why := range opened {
				r.opened[n] = why
			}
			best = r
		}
		pieces = pieces[:0:0]
		more := false
		for i, q := range r.pieces {
			why := ""
			if r.box[i] == none {
				why = q.openable(o.Boxes)
			}
			if why == "" {
				pieces = append(pieces, q)
				continue
			}
			more = true
			if q.some == nil {
				opened[q.of] = why
			}
			pieces = append(pieces, q.open(o.Unit)...)
		}
		if !more {
			break
		}
	}
	p.settle(best, o)
	p.missing(pass.Job.CopyList)
	return nil
}

// missing leaves what a copy list names, but is no file of the source and was not told of yet.
func (p *Plan) missing(list *checks.CopyList) {
	if list != nil && list.Len() > p.Files {
		seen := make(map[string]bool, p.Files)
		for _, l := range p.Left {
			seen[l.Path] = true
		}
		for path := range p.root.boxed() {
			seen[path] = true
		}
		for path := range list.All() {
			if !seen[path] {
				p.Left = append(p.Left, Left{Path: path, Rule: onNoList, Why: "the copy list names it, but it is not a file on the source"})
			}
		}
	}
	slices.SortFunc(p.Left, func(a, b Left) int {
		return cmp.Or(strings.Compare(a.Path, b.Path), strings.Compare(a.Why, b.Why))
	})
}

// fill deals out pieces, the largest first, each into the first box that takes it.
func fill(pieces []*piece, boxes []Box) *round {
	r := &round{pieces: slices.Clone(pieces)}
	slices.SortFunc(r.pieces, func(a, b *piece) int {
		return cmp.Or(cmp.Compare(b.need, a.need), strings.Compare(a.path, b.path))
	})
	loads := make([]load, len(boxes))
	for i, b := range boxes {
		loads[i].Box = b
	}
	r.box = make([]int, len(r.pieces))
	for i, p := range r.pieces {
		r.box[i] = slices.IndexFunc(loads, func(l load) bool { return l.takes(p) })
		if r.box[i] == none {
			r.left.add(p.sum)
			continue
		}
		loads[r.box[i]].put(p)
	}
	return r
}

// settle writes down what a round came to.
func (p *Plan) settle(r *round, o Options) {
	for n, why := range r.opened {
		n.opened, n.boxes = why, make([]int32, n.own.files)
	}
	loads := make([]load, len(o.Boxes))
	for i, q := range r.pieces {
		if r.box[i] != none {
			loads[r.box[i]].put(q)
		}
		if q.some == nil {
			q.of.box = r.box[i]
		}
		for _, k := range q.some {
			q.of.boxes[k] = int32(r.box[i])
		}
	}
	number := p.number(o.Boxes)
	p.Loads = make([]Load, len(o.Boxes))
	for was, is := range number {
		l := &loads[was]
		p.Loads[is] = Load{
			Box: o.Boxes[was], Files: l.files, Folders: l.folders, Bytes: l.bytes,
			Need: checks.Need{Bytes: l.need, Inodes: l.files + l.folders, Largest: l.largest},
		}
	}
	p.root.renumber(number)
	p.tell(p.root)
	slices.SortFunc(p.Torn, func(a, b Torn) int { return strings.Compare(a.Path, b.Path) })
	for i := range p.Loads {
		slices.SortFunc(p.Loads[i].Holds, func(a, b Part) int { return strings.Compare(a.Path, b.Path) })
	}
}

// number gives boxes of one size the order of the first paths in them, empty ones last.
func (p *Plan) number(boxes []Box) []int {
	first := make([]int, len(boxes)) // when a box came up first
	for i := range first {
		first[i] = len(boxes)
	}
	met := 0
	for _, box := range p.root.boxed() {
		if box != none && first[box] == len(boxes) {
			first[box] = met
			met++
		}
		if met == len(boxes) {
			break
		}
	}
	number := make([]int, len(boxes))
	for i, b := range boxes {
		var alike []int // boxes of this size
		for k, o := range boxes {
			if o == b {
				alike = append(alike, k)
			}
		}
		byPath := slices.Clone(alike)
		slices.SortStableFunc(byPath, func(x, y int) int { return cmp.Compare(first[x], first[y]) })
		number[i] = alike[slices.Index(byPath, i)]
	}
	return number
}

func (n *node) renumber(number []int) {
	if n.opened == "" {
		if n.box != none {
			n.box = number[n.box]
		}
		return
	}
	for i, b := range n.boxes {
		if b != none {
			n.boxes[i] = int32(number[b])
		}
	}
	for _, k := range n.kids {
		if k.all.files > 0 {
			k.renumber(number)
		}
	}
}

// boxed yields the path of every file that is to be copied, and its box, ordered by the bytes of the paths.
func (n *node) boxed() iter.Seq2[string, int] {
	return func(yield func(path string, box int) bool) { n.each(yield, nil) }
}

// each yields the files of a folder; whole is the topmost folder above that goes into one box.
func (n *node) each(yield func(path string, box int) bool, whole *node) bool {
	if whole == nil && n.opened == "" {
		whole = n
	}
	kids := n.kids
	enter := func(until string, all bool) bool {
		for len(kids) > 0 && (all || kids[0].name+"/" < until) {
			k := kids[0]
			kids = kids[1:]
			if k.all.files > 0 && !k.each(yield, whole) {
				return false
			}
		}
		return true
	}
	for i, f := range n.files() {
		if !enter(f.name, false) {
			return false
		}
		box := 0
		if whole != nil {
			box = whole.box
		} else {
			box = int(n.boxes[i])
		}
		if !yield(names.Join(n.path, f.name), box) {
			return false
		}
	}
	return enter("", true)
}

// tell says which parts are in which box, what was torn, and what is left. It returns the boxes that what
// is in a folder is in; none is that of what is left.
func (p *Plan) tell(n *node) map[int]bool {
	if n.opened == "" {
		if n.box == none {
			why := p.noRoom(&piece{sum: n.all, of: n})
			if n.whole != "" && why != tooLarge {
				why = "no box has room for it as a whole, and it is kept together, since " + n.whole
			}
			p.Left = append(p.Left, Left{Path: n.path, Files: n.all.files, Bytes: n.all.bytes, Rule: fitsNoBox, Why: why})
		} else {
			l := &p.Loads[n.box]
			l.Holds = append(l.Holds, Part{Path: n.path, Files: n.all.files, Bytes: n.all.bytes, Whole: true})
		}
		return map[int]bool{n.box: true}
	}
	in := map[int]bool{}
	parts := map[int]*Part{}
	for i, f := range n.files() {
		box := int(n.boxes[i])
		in[box] = true
		if box == none {
			p.Left = append(p.Left, Left{Path: names.Join(n.path, f.name), Files: 1, Bytes: f.size, Rule: fitsNoBox, Why: p.noRoom(&piece{sum: fileSum(f.size, p.Unit), of: n, some: []int32{int32(i)}})})
			continue
		}
		if parts[box] == nil {
			parts[box] = &Part{Path: n.path}
		}
		parts[box].Files++
		parts[box].Bytes += f.size
	}
	for box, part := range parts {
		p.Loads[box].Holds = append(p.Loads[box].Holds, *part)
	}
	for _, k := range n.kids {
		if k.all.files > 0 {
			for box := range p.tell(k) {
				in[box] = true
			}
		}
	}
	if len(in) > 1 && (n.parent != nil || n.whole != "") {
		why := n.opened
		if n.whole != "" {
			why += ", though " + n.whole
		}
		p.Torn = append(p.Torn, Torn{Path: n.path, Why: why})
	}
	return in
}

// noRoom says why a piece is left.
func (p *Plan) noRoom(q *piece) string {
	boxes := make([]Box, len(p.Loads))
	for i := range p.Loads {
		boxes[i] = p.Loads[i].Box
	}
	if q.larger(boxes) {
		return tooLarge
	}
	return "no box has room left for it"
}
