package manifest

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"os"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
)

// An Index is a manifest in memory, to look files up by their paths. Paths are sorted, so most of each stands in
// the one before it: a file takes the end of its path, ten bytes, and the checksums that were asked for. Nothing
// in it is a pointer, so that the collector has nothing to look at. It is safe for concurrent use.
type Index struct {
	Header *Header
	Seal   string // hexadecimal: what tells this manifest from any other

	keep   Keep
	stride int
	rows   [][]byte     // chunkRows rows each: size, which sums hold, the sums
	levels []*pathTable // all paths; then, level by level, the first paths of the blocks of the one before
	n      int
	disk   map[int]string // paths on the disk, where they differ
}

// A pathTable holds sorted paths in blocks: the first path of a block whole, of the others what they share with the
// one before, and the rest.
type pathTable struct {
	fan    int      // paths of a block
	pieces [][]byte // of encoded blocks
	blocks []uint64 // piece and offset of each

	open []byte // the block that is being filled
	fill int    // how many paths are in it
	last []byte
}

// Keep says which checksums an Index holds.
type Keep struct {
	SHA256 bool
	Set    sums.Set
}

const (
	// Small blocks are quick to look through, and large ones leave few levels above them (measured).
	leafPaths  = 16
	abovePaths = 32
	chunkRows  = 1 << 12
	pieceSize  = 1 << 20
	rowHead    = 9 // bytes of size and of which sums hold
)

// Load reads a manifest file, or says why it cannot be used, in words that begin with its name. read, if not nil,
// is told of the bytes that were read.
func Load(ctx context.Context, file string, keep Keep, read func(bytes int)) (*Index, error) {
	f, err := openFile(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", names.Quote(file), ErrUnusable, err)
	}
	defer f.Close()
	x := &Index{keep: keep, stride: rowHead, levels: []*pathTable{{fan: leafPaths}}}
	if keep.SHA256 {
		x.stride += 32
	}
	for _, k := range factSums {
		if keep.Set&k.in != 0 {
			x.stride += k.bytes
		}
	}
	in := &tail{r: f, read: read}
	n := 0
	x.Header, err = Read(in, func(f *File) error {
		if n++; n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		return x.add(f)
	})
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err == nil && n == 0 {
		err = fmt.Errorf("%w: it holds no file", ErrUnusable)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", names.Quote(file), err)
	}
	x.grow()
	if at := bytes.LastIndex(in.end, []byte("# seal ")); at >= 0 {
		x.Seal = string(bytes.TrimSpace(in.end[at+len("# seal "):]))
	}
	return x, nil
}

// openFile refuses what cannot be read twice, or never ends.
func openFile(file string) (*os.File, error) {
	info, err := os.Stat(file)
	switch {
	case err != nil:
		return nil, disk.WithoutPath(err)
	case info.IsDir():
		return nil, errors.New("it is a folder; choose the manifest in it")
	case !info.Mode().IsRegular():
		return nil, errors.New("it is a pipe or a device; save it as a file first")
	}
	f, err := os.Open(file)
	return f, disk.WithoutPath(err)
}

// tail keeps the end of what it reads.
type tail struct {
	r    io.Reader
	read func(int)
	end  []byte
}

func (t *tail) Read(p []byte) (int, error) {
	const most = 128
	n, err := t.r.Read(p)
	t.end = append(t.end, p[max(0, n-most):n]...)
	if over := len(t.end) - most; over > 0 {
		t.end = append(t.end[:0], t.end[over:]...)
	}
	if t.read != nil && n > 0 {
		t.read(n)
	}
	return n, err
}

func (x *Index) add(f *File) error {
	if x.n == math.MaxInt32 {
		return fmt.Errorf("%w: it holds more than %d files", ErrUnusable, math.MaxInt32)
	}
	if x.n%chunkRows == 0 {
		x.rows = append(x.rows, make([]byte, 0, chunkRows*x.stride))
	}
	c := &x.rows[len(x.rows)-1]
	row := binary.LittleEndian.AppendUint64(*c, uint64(f.Size))
	row = append(row, byte(f.Sums.Has))
	if x.keep.SHA256 {
		row = append(row, f.Sums.SHA256[:]...)
	}
	for _, k := range factSums {
		if x.keep.Set&k.in != 0 {
			row = append(row, k.get(&f.Sums)...)
		}
	}
	*c = row
	if f.Disk != nil {
		if x.disk == nil {
			x.disk = map[int]string{}
		}
		x.disk[x.n] = string(f.Disk)
	}
	x.levels[0].add(f.Path)
	x.n++
	return nil
}

// grow builds the levels above the paths, up to one of a single block.
func (x *Index) grow() {
	for {
		below := x.levels[len(x.levels)-1]
		below.endBlock()
		below.open, below.last = nil, nil
		if len(below.blocks) <= 1 {
			return
		}
		above := &pathTable{fan: abovePaths}
		for b := range below.blocks {
			head, _ := below.block(b)
			above.add(head)
		}
		x.levels = append(x.levels, above)
	}
}

func (t *pathTable) add(p []byte) {
	if t.fill == t.fan {
		t.endBlock()
	}
	shared := 0
	if t.fill > 0 {
		shared = common(t.last, p)
		t.open = binary.AppendUvarint(t.open, uint64(shared))
	}
	t.open = binary.AppendUvarint(t.open, uint64(len(p)-shared))
	t.open = append(t.open, p[shared:]...)
	t.last = append(t.last[:0], p...)
	t.fill++
}

func (t *pathTable) endBlock() {
	if t.fill == 0 {
		return
	}
	last := len(t.pieces) - 1
	if last < 0 || cap(t.pieces[last])-len(t.pieces[last]) < len(t.open) {
		t.pieces = append(t.pieces, make([]byte, 0, max(pieceSize, len(t.open))))
		last++
	}
	t.blocks = append(t.blocks, uint64(last)<<32|uint64(len(t.pieces[last])))
	t.pieces[last] = append(t.pieces[last], t.open...)
	t.open, t.fill = t.open[:0], 0
}

// common is how many bytes two paths begin alike with.
func common(a, b []byte) int {
	n := min(len(a), len(b))
	i := 0
	for ; i+8 <= n && binary.LittleEndian.Uint64(a[i:]) == binary.LittleEndian.Uint64(b[i:]); i += 8 {
	}
	for ; i < n && a[i] == b[i]; i++ {
	}
	return i
}

// block returns the first path of a block and the code of the others.
func (t *pathTable) block(b int) (head, rest []byte) {
	at := t.blocks[b]
	piece := t.pieces[at>>32]
	end := len(piece)
	if b+1 < len(t.blocks) && t.blocks[b+1]>>32 == at>>32 {
		end = int(uint32(t.blocks[b+1]))
	}
	return cutPath(piece[uint32(at):end])
}

// cutPath cuts a text that stands behind its length.
func cutPath(code []byte) (text, rest []byte) {
	n, k := number(code)
	return code[k : k+n], code[k+n:]
}

// number reads a length; nearly all have one byte.
func number(code []byte) (n, k int) {
	if code[0] < 0x80 {
		return int(code[0]), 1
	}
	v, k := binary.Uvarint(code)
	return int(v), k
}

// floor returns the number of the last path in a block that does not come after p, -1 if all do, whether it is p,
// and the code behind it.
func (t *pathTable) floor(b int, p []byte) (i int, exact bool, rest []byte) {
	head, rest := t.block(b)
	m := common(head, p)
	if m < len(head) && (m == len(p) || head[m] > p[m]) {
		return -1, false, nil
	}
	return scan(p, b*t.fan, rest, m, len(head))
}

// scan goes on from path i, which does not come after p: it has n bytes, the first m of them as p has them, and rest
// is the code behind it.
func scan(p []byte, i int, rest []byte, m, n int) (last int, exact bool, left []byte) {
	exact = m == n && m == len(p)
	for len(rest) > 0 && !exact {
		shared, k := number(rest)
		end, next := cutPath(rest[k:])
		switch {
		case shared > m: // it differs from p where the one before it did
		case shared < m:
			return i, false, rest // it comes after p
		default:
			same := common(end, p[m:])
			if same < len(end) && (m+same == len(p) || end[same] > p[m+same]) {
				return i, false, rest
			}
			m += same
			exact = same == len(end) && m == len(p)
		}
		i, rest = i+1, next
	}
	return i, exact, rest
}

// Len is how many files there are; their numbers run from 0, in the order of their paths.
func (x *Index) Len() int { return x.n }

func (x *Index) row(i int) []byte {
	return x.rows[i/chunkRows][i%chunkRows*x.stride:][:x.stride]
}

// Size is the size of a file, bytes.
func (x *Index) Size(i int) int64 { return int64(binary.LittleEndian.Uint64(x.row(i))) }

// Sums fills in the checksums of a file that the Index keeps. Has tells which ones besides SHA-256.
func (x *Index) Sums(i int, s *Sums) {
	row := x.row(i)
	s.Has = sums.Set(row[8]) & x.keep.Set
	row = row[rowHead:]
	if x.keep.SHA256 {
		copy(s.SHA256[:], row)
		row = row[32:]
	}
	for _, k := range factSums {
		if x.keep.Set&k.in != 0 {
			k.set(s, row[:k.bytes])
			row = row[k.bytes:]
		}
	}
}

// Path returns the path of a file.
func (x *Index) Path(i int) string {
	head, rest := x.levels[0].block(i / leafPaths)
	path := bytes.Clone(head)
	for range i % leafPaths {
		path, rest = nextPath(path, rest)
	}
	return string(path)
}

// nextPath returns the path after one, in its memory, given what is left of the block.
func nextPath(path, rest []byte) (next, left []byte) {
	shared, k := number(rest)
	end, left := cutPath(rest[k:])
	return append(path[:shared], end...), left
}

// OnDisk returns the path of a file on the disk, which may have another normal form than the copy.
func (x *Index) OnDisk(i int) string {
	if p, ok := x.disk[i]; ok {
		return p
	}
	return x.Path(i)
}

// All yields all files with their paths, which hold until the next one only.
func (x *Index) All() iter.Seq2[int, []byte] {
	return func(yield func(int, []byte) bool) {
		var path []byte
		for b := range x.levels[0].blocks {
			head, rest := x.levels[0].block(b)
			path = append(path[:0], head...)
			for i := b * leafPaths; ; i++ {
				if !yield(i, path) {
					return
				}
				if len(rest) == 0 {
					break
				}
				path, rest = nextPath(path, rest)
			}
		}
	}
}

// A Cursor finds files. It is quickest where the paths that are asked for come in their order, as lists of objects
// mostly have them. It is for one goroutine.
type Cursor struct {
	x    *Index
	i    int // the file that was found last; -1 none
	path []byte
	rest []byte // of its block, behind it
}

// Cursor returns a new one.
func (x *Index) Cursor() *Cursor { return &Cursor{x: x, i: -1} }

// Find returns the number of a file, -1 if the manifest does not hold it.
func (c *Cursor) Find(p []byte) int {
	x := c.x
	if x.n == 0 {
		return -1
	}
	if c.i >= 0 {
		switch d := bytes.Compare(p, c.path); {
		case d == 0:
			return c.i
		case d > 0:
			i, exact, rest := scan(p, c.i, c.rest, common(c.path, p), len(c.path))
			if exact {
				return c.at(i, p, rest)
			}
			if len(rest) > 0 {
				return -1 // what follows comes after it
			}
			// It was not in this block: as a rule it begins the next one.
			leaf := x.levels[0]
			if next := c.i/leafPaths + 1; next < len(leaf.blocks) {
				if i, exact, rest := leaf.floor(next, p); exact {
					return c.at(i, p, rest)
				}
			}
		}
	}
	b := 0
	for k := len(x.levels) - 1; k > 0; k-- {
		if b, _, _ = x.levels[k].floor(b, p); b < 0 {
			return -1
		}
	}
	i, exact, rest := x.levels[0].floor(b, p)
	if !exact {
		return -1
	}
	return c.at(i, p, rest)
}

// at notes what was found.
func (c *Cursor) at(i int, p, rest []byte) int {
	c.i, c.path, c.rest = i, append(c.path[:0], p...), rest
	return i
}
