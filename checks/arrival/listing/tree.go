package listing

import (
	"bytes"
	"fmt"
	"hash/maphash"
	"slices"
	"strings"
	"unicode/utf8"
)

// A tree finds the entries of a listing in a document of any nesting: JSON and XML are both read into it. An
// entry is an object with a key and a size, a checksum or a mark of deletion of its own, or in what stands
// below it; what holds entries is a page.
type tree struct {
	rd     *reader
	frames []*frame // those in use, and spare ones
	depth  int
	names  map[string]*field
	seed   maphash.Seed
	paths  map[uint64]bool // where entries were found
	count  int64           // entries
	chosen map[string]bool // names of the person's choice that were seen
	dotted bool            // some of them hold a dot
	shown  map[*field]bool // fields of entries
}

// A frame is one object that is open.
type frame struct {
	rec      record
	used     []*field
	name     *field
	path     uint64
	inArray  bool
	holds    bool // an entry stands somewhere below
	direct   bool // an entry stands below, with nothing between but arrays
	deleted  bool // what stands below is marked as deleted
	unopened bool // it names a folder that is not opened
	pages    int  // pages before it
}

const (
	deepest    = 64
	mostNames  = 4096
	mostPaths  = 256
	fieldsFrom = 100 // entries whose fields are shown
)

func newTree(rd *reader) *tree {
	rd.format.Unit = "record"
	t := &tree{
		rd: rd, names: map[string]*field{}, seed: maphash.MakeSeed(), paths: map[uint64]bool{}, chosen: map[string]bool{},
		shown: map[*field]bool{},
	}
	for _, c := range rd.o.Columns {
		t.dotted = t.dotted || strings.Contains(c.Column, ".")
	}
	return t
}

// field returns what a name means, below the present frame.
func (t *tree) field(name []byte) *field {
	if f, ok := t.names[string(name)]; ok && !t.dotted {
		return f
	}
	f := t.settle(name)
	if len(t.names) < mostNames && len(name) < 256 {
		t.names[string(name)] = f
	}
	return f
}

func (t *tree) settle(name []byte) *field {
	f := meaning(bytes.ToValidUTF8(name, []byte("\ufffd")))
	choice := t.rd.o.Columns
	c, ok := choice.of(f.name)
	if !ok && t.dotted && t.depth > 0 {
		if above := t.top().name; above != nil {
			c, ok = choice.of(above.name + "." + f.name)
		}
	}
	switch {
	case ok:
		t.chosen[strings.ToLower(c.name)] = true
		f = c
	case f.role == RoleKey && choice.has(RoleKey), f.role == RoleSize && choice.has(RoleSize):
		f.role = RoleNone
	}
	s := squeeze(name)
	f.marksDeleted, f.unopened = strings.HasPrefix(s, "deletemark"), isUnopened(s)
	return &f
}

func (t *tree) top() *frame { return t.frames[t.depth-1] }

// open begins an object that stands under a name, nil for none, in an array or not.
func (t *tree) open(name *field, inArray bool) error {
	if t.depth == deepest {
		return t.bad("it is nested more than %d deep", deepest)
	}
	if t.depth == len(t.frames) {
		t.frames = append(t.frames, &frame{})
	}
	fr := t.frames[t.depth]
	fr.rec.reset()
	fr.used, fr.name, fr.path, fr.inArray, fr.pages = fr.used[:0], name, 0, inArray, len(t.rd.format.Pages)
	fr.holds, fr.direct, fr.deleted, fr.unopened = false, false, false, false
	if t.depth > 0 {
		up := t.top()
		fr.deleted = up.deleted
		fr.path = up.path
	}
	if name != nil {
		fr.path = maphash.Comparable(t.seed, pathKey{fr.path, name.name})
		fr.deleted = fr.deleted || name.marksDeleted
		fr.unopened = name.unopened
	}
	t.depth++
	return nil
}

type pathKey struct {
	up   uint64
	name string
}

// isUnopened reports whether a squeezed name is one under which folders stand that were not opened.
func isUnopened(s string) bool {
	switch s {
	case "commonprefixes", "commonprefix", "prefixes", "blobprefix", "subdirs", "subdirectories":
		return true
	}
	return false
}

// scalar takes a value under a name of the present object.
func (t *tree) scalar(f *field, text []byte) {
	if t.depth == 0 || f.role == RoleNone || f.role == RoleIgnore {
		return
	}
	fr := t.top()
	if f.role == RoleKey && !utf8.Valid(text) {
		fr.rec.damaged = true
	}
	fr.rec.set(f, text)
	if t.count < fieldsFrom && len(fr.used) < 32 {
		fr.used = append(fr.used, f)
	}
}

// element takes a value that stands in an array under a name.
func (t *tree) element(f *field, text []byte) {
	switch {
	case f == nil:
	case f.unopened:
		t.rd.unopened(text)
	case f.role == roleAlgorithm:
		t.scalar(f, text)
	}
}

// close ends the present object.
func (t *tree) close() error {
	fr := t.top()
	t.depth--
	rec := &fr.rec
	var up *frame
	if t.depth > 0 {
		up = t.top()
	}
	if fr.deleted && rec.key.set {
		rec.say(deleted)
	}
	if rec.unopened.set {
		t.rd.unopened(rec.get(rec.unopened))
	}
	switch {
	case fr.unopened && !fr.holds:
		name := rec.prefix
		if !name.set {
			name = rec.key
		}
		t.rd.unopened(rec.get(name))
		return nil
	case !fr.holds && rec.isEntry():
		return t.entry(fr, up)
	case fr.holds:
		if up != nil {
			up.holds = true
		}
		if rec.paged {
			t.absorb(fr.pages)
		} else if !fr.direct {
			return nil
		}
		return t.rd.page(rec)
	case t.paths[fr.path] && !rec.paged && !rec.unopened.set:
		t.rd.at = t.count + 1
		switch {
		case rec.err != nil:
			return t.rd.bad("", "%w", rec.err)
		case !rec.key.set:
			return t.rd.bad("Get the listing again, or name the fields yourself.", "it holds no key, as the records before it do")
		}
		return t.rd.bad("Get the listing again, or name the fields yourself.", "it holds a key, %s, but no size and no checksum", quote(string(rec.get(rec.key))))
	case up != nil && !fr.inArray:
		up.rec.adopt(rec)
		if t.count < fieldsFrom {
			for _, f := range fr.used {
				if f.role != RoleKey && len(up.used) < 32 {
					up.used = append(up.used, f)
				}
			}
		}
	case rec.paged:
		return t.rd.page(rec)
	}
	return nil
}

// absorb drops the pages from a number on that have no marks of their own: they belong to one that has.
func (t *tree) absorb(from int) {
	kept := t.rd.format.Pages[:from]
	for _, p := range t.rd.format.Pages[from:] {
		if p.marked() {
			kept = append(kept, p)
		}
	}
	t.rd.format.Pages = kept
}

func (t *tree) entry(fr, up *frame) error {
	if up != nil {
		up.holds, up.direct = true, true
	}
	if t.count < fieldsFrom {
		for _, f := range fr.used {
			t.show(f)
		}
	}
	t.count++
	t.rd.at = t.count
	if len(t.paths) < mostPaths {
		t.paths[fr.path] = true
	}
	return t.rd.deliver(&fr.rec)
}

// show adds a field to the description.
func (t *tree) show(f *field) {
	switch f.role {
	case RoleKey, RoleSize, RoleSum, RoleTag, RoleModified, RoleLatest, RoleDeleted:
		if !t.shown[f] && len(t.shown) < 64 {
			t.shown[f] = true
			t.rd.format.Columns = append(t.rd.format.Columns, Column{f.name, f.role, f.kind})
		}
	}
}

// bad makes an error of the record that comes next.
func (t *tree) bad(format string, args ...any) error {
	t.rd.at = t.count + 1
	return t.rd.bad("Get the listing again; this copy of it is damaged.", format, args...)
}

// end judges the whole.
func (t *tree) end() error {
	for _, c := range t.rd.o.Columns {
		if !t.chosen[strings.ToLower(c.Column)] {
			return refuse(Unknown, "Choose one of the names that the records have.", "there is no field %s", quote(c.Column))
		}
	}
	if t.count == 0 && len(t.rd.format.Pages) == 0 && t.rd.format.FoldedCount == 0 {
		return refuse(Unknown, "Ask the store for a list of its objects with key and size.",
			"nothing in it has a key and beside it a size or a checksum%s", t.seen())
	}
	return nil
}

// seen lists some names of fields.
func (t *tree) seen() string {
	var some []string
	for _, f := range t.names {
		some = append(some, quote(f.name))
	}
	if len(some) == 0 {
		return ""
	}
	slices.Sort(some)
	return fmt.Sprintf("; it has the fields %s", strings.Join(some[:min(len(some), 20)], ", "))
}
