package manifest

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"sort"

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
	rows   [][]byte // chunkRows rows each: size, which sums hold, the sums
	pieces [][]byte // of encoded blocks of paths
	blocks []uint64 // piece and offset of each
	n      int
	disk   map[int]string // paths on the disk, where they differ

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
	blockPaths = 16
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
	x := &Index{keep: keep, stride: rowHead}
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
	if err != nil {
		return nil, fmt.Errorf("%s: %w", names.Quote(file), err)
	}
	x.endBlock()
	x.open, x.last = nil, nil
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
		return nil, withoutPath(err)
	case info.IsDir():
		return nil, errors.New("it is a folder; choose the manifest in it")
	case !info.Mode().IsRegular():
		return nil, errors.New("it is a pipe or a device; save it as a file first")
	}
	f, err := os.Open(file)
	return f, withoutPath(err)
}

func withoutPath(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
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
	x.addPath(f.Path)
	x.n++
	return nil
}

// addPath appends to the open block: the first path of a block whole, of the others what they share with the
// one before, and the rest.
func (x *Index) addPath(p []byte) {
	if x.fill == blockPaths {
		x.endBlock()
	}
	shared := 0
	if x.fill > 0 {
		shared = common(x.last, p)
		x.open = binary.AppendUvarint(x.open, uint64(shared))
	}
	x.open = binary.AppendUvarint(x.open, uint64(len(p)-shared))
	x.open = append(x.open, p[shared:]...)
	x.last = append(x.last[:0], p...)
	x.fill++
}

func (x *Index) endBlock() {
	if x.fill == 0 {
		return
	}
	last := len(x.pieces) - 1
	if last < 0 || cap(x.pieces[last])-len(x.pieces[last]) < len(x.open) {
		x.pieces = append(x.pieces, make([]byte, 0, max(pieceSize, len(x.open))))
		last++
	}
	x.blocks = append(x.blocks, uint64(last)<<32|uint64(len(x.pieces[last])))
	x.pieces[last] = append(x.pieces[last], x.open...)
	x.open, x.fill = x.open[:0], 0
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
func (x *Index) block(b int) (head, rest []byte) {
	at := x.blocks[b]
	piece := x.pieces[at>>32]
	end := len(piece)
	if b+1 < len(x.blocks) && x.blocks[b+1]>>32 == at>>32 {
		end = int(uint32(x.blocks[b+1]))
	}
	return cutPath(piece[uint32(at):end])
}

// cutPath cuts a text that stands behind its length.
func cutPath(code []byte) (text, rest []byte) {
	n, k := binary.Uvarint(code)
	return code[k : k+int(n)], code[k+int(n):]
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

// Kept says which checksums are held.
func (x *Index) Kept() Keep { return x.keep }

// Path returns the path of a file.
func (x *Index) Path(i int) string {
	head, rest := x.block(i / blockPaths)
	path := bytes.Clone(head)
	for range i % blockPaths {
		path, rest = nextPath(path, rest)
	}
	return string(path)
}

// nextPath returns the path after one, in its memory, given what is left of the block.
func nextPath(path, rest []byte) (next, left []byte) {
	shared, k := binary.Uvarint(rest)
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
		for b := range x.blocks {
			head, rest := x.block(b)
			path = append(path[:0], head...)
			for i := b * blockPaths; ; i++ {
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
	if c.i >= 0 {
		switch d := bytes.Compare(p, c.path); {
		case d == 0:
			return c.i
		case d > 0:
			if i, sure := c.scan(p, c.i, c.rest, common(c.path, p)); sure {
				return i
			}
			next := c.i/blockPaths + 1
			if next == len(x.blocks) {
				return -1
			}
			if next+1 == len(x.blocks) || bytes.Compare(p, x.head(next+1)) < 0 {
				return c.in(next, p)
			}
		}
	}
	b := sort.Search(len(x.blocks), func(b int) bool { return bytes.Compare(x.head(b), p) > 0 }) - 1
	if b < 0 {
		return -1
	}
	return c.in(b, p)
}

func (x *Index) head(b int) []byte {
	at := x.blocks[b]
	code := x.pieces[at>>32][uint32(at):]
	n, k := binary.Uvarint(code)
	return code[k : k+int(n)]
}

// in looks for a path in a block.
func (c *Cursor) in(b int, p []byte) int {
	head, rest := c.x.block(b)
	m := common(head, p)
	switch {
	case m == len(p) && m == len(head):
		c.at(b*blockPaths, p, rest)
		return c.i
	case m == len(p) || m < len(head) && head[m] > p[m]:
		return -1
	}
	i, _ := c.scan(p, b*blockPaths, rest, m)
	return i
}

func (c *Cursor) at(i int, p, rest []byte) {
	c.i, c.path, c.rest = i, append(c.path[:0], p...), rest
}

// scan looks for a path behind file i of a block, whose own path comes before it and begins with m bytes of it. It
// is sure where the path was found or would stand in this block.
func (c *Cursor) scan(p []byte, i int, rest []byte, m int) (found int, sure bool) {
	for len(rest) > 0 {
		shared, k := binary.Uvarint(rest)
		var end []byte
		end, rest = cutPath(rest[k:])
		i++
		switch s := int(shared); {
		case s > m:
			continue // it differs from the path where the one before it did
		case s < m:
			return -1, true // it has gone by
		}
		same := common(end, p[m:])
		m += same
		switch {
		case same == len(end) && m == len(p):
			c.at(i, p, rest)
			return i, true
		case same < len(end) && (m == len(p) || end[same] > p[m]):
			return -1, true
		}
	}
	return -1, false
}

// ReadSeal returns what tells a manifest from any other, without reading all of it; "" where the file is none.
func ReadSeal(file string) string {
	f, err := openFile(file)
	if err != nil {
		return ""
	}
	defer f.Close()
	first, err := bufio.NewReader(f).Peek(len("# Loadline manifest "))
	if err != nil || !Begins(append(bytes.Clone(first), "1."...)) {
		return ""
	}
	info, err := f.Stat()
	if err != nil {
		return ""
	}
	var b [72]byte
	if n, err := f.ReadAt(b[:], max(0, info.Size()-int64(len(b)))); n != len(b) || err != nil && !errors.Is(err, io.EOF) {
		return ""
	}
	seal, ok := bytes.CutPrefix(b[:], []byte("# seal "))
	if !ok {
		return ""
	}
	seal = bytes.TrimSuffix(seal, []byte("\n"))
	if _, err := hex.DecodeString(string(seal)); err != nil {
		return ""
	}
	return string(seal)
}
