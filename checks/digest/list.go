package digest

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"io"
	"iter"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// A File is one that is to be read.
type File struct {
	Path string // relative to the root, "/" between parts, raw bytes
	Size int64  // bytes, when it was listed
	ID   int    // the caller's own number

	at int64 // of its record in the list
}

// A List holds the files of a disk that are to be read. In memory it takes what the folders take, and 16
// bytes for each file over 1 MiB where the order of the disk is asked for; the rest is in a temporary file.
// Close it.
type List struct {
	Bytes int64

	mu      sync.Mutex
	spool   spool
	folders []listedFolder
	buffer  []byte
}

type listedFolder struct {
	path  string
	at    int64
	files int32
}

// Mark is what became of a file, for Sorted.
type Mark struct {
	Done   bool
	SHA256 [32]byte
	Before int64 // when an earlier run read it, seconds since 1970; 0 where this one did
}

const markSize = 1 + 32 + 8

// Add lists those files of a folder that take wants, with the numbers that it gives them. Safe for
// concurrent use.
func (l *List) Add(d *walk.Dir, take func(e *walk.Entry) (id int, ok bool)) {
	var wanted []*walk.Entry
	ids := map[*walk.Entry]int{}
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Kind != walk.File || e.Failed {
			continue
		}
		if id, ok := take(e); ok {
			wanted = append(wanted, e)
			if id != 0 {
				ids[e] = id
			}
		}
	}
	if len(wanted) == 0 {
		return
	}
	// Many file systems lay out the files of a folder in the order of their numbers.
	slices.SortStableFunc(wanted, func(a, b *walk.Entry) int { return cmp.Compare(a.Inode, b.Inode) })
	l.mu.Lock()
	defer l.mu.Unlock()
	b := l.buffer[:0]
	for _, e := range wanted {
		b = append(b, make([]byte, markSize)...)
		b = binary.AppendUvarint(b, uint64(e.Size))
		b = binary.AppendUvarint(b, uint64(ids[e]))
		b = binary.AppendUvarint(b, uint64(len(e.Name)))
		b = append(b, e.Name...)
		l.Bytes = walk.AddSizes(l.Bytes, e.Size)
	}
	l.folders = append(l.folders, listedFolder{strings.Clone(d.Path), l.spool.add(b), int32(len(wanted))})
	l.buffer = b
}

// Close gives back what the list takes.
func (l *List) Close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.spool.close()
	l.spool, l.folders = spool{}, nil
}

// counted counts the bytes that a bufio.Reader has handed out.
type counted struct {
	*bufio.Reader
	at int64
}

func (c *counted) ReadByte() (byte, error) {
	b, err := c.Reader.ReadByte()
	if err == nil {
		c.at++
	}
	return b, err
}

func (c *counted) full(p []byte) error {
	n, err := io.ReadFull(c.Reader, p)
	c.at += int64(n)
	return err
}

// read decodes the file that comes next.
func (f *listedFolder) read(in *counted) (file File, mark Mark, err error) {
	file.at = in.at
	var m [markSize]byte
	if err = in.full(m[:]); err != nil {
		return file, mark, err
	}
	mark.Done = m[0] == 1
	copy(mark.SHA256[:], m[1:])
	mark.Before = int64(binary.BigEndian.Uint64(m[1+32:]))
	var number [3]uint64 // size, ID, length of the name
	for i := range number {
		if number[i], err = binary.ReadUvarint(in); err != nil {
			return file, mark, err
		}
	}
	name := make([]byte, 0, len(f.path)+1+int(number[2]))
	if f.path != "" {
		name = append(append(name, f.path...), '/')
	}
	name = name[:len(name)+int(number[2])]
	if err = in.full(name[len(name)-int(number[2]):]); err != nil {
		return file, mark, err
	}
	file.Path, file.Size, file.ID = string(name), int64(number[0]), int(number[1])
	return file, mark, nil
}

// each reads the files of one folder.
func (l *List) each(in *counted, f *listedFolder, yield func(File, Mark) bool) bool {
	in.Reset(io.NewSectionReader(lockedAt{l}, f.at, l.spool.size()-f.at))
	in.at = f.at
	for range f.files {
		file, mark, err := f.read(in)
		if err != nil {
			return false
		}
		if !yield(file, mark) {
			return false
		}
	}
	return true
}

// lockedAt reads the spool while others mark files in it.
type lockedAt struct{ l *List }

func (a lockedAt) ReadAt(p []byte, off int64) (int, error) {
	a.l.mu.Lock()
	defer a.l.mu.Unlock()
	return a.l.spool.ReadAt(p, off)
}

// All yields the files folder by folder, and in each by their numbers.
func (l *List) All() iter.Seq[File] {
	return func(yield func(File) bool) {
		order := l.byPath()
		in := &counted{Reader: bufio.NewReaderSize(nil, 1<<15)}
		for _, i := range order {
			if !l.each(in, &l.folders[i], func(f File, _ Mark) bool { return yield(f) }) {
				return
			}
		}
	}
}

// key is the path of a folder with what ends it in the paths of its files.
func (f *listedFolder) key() string {
	if f.path == "" {
		return ""
	}
	return f.path + "/"
}

func (l *List) byPath() []int32 {
	order := make([]int32, len(l.folders))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(x, y int32) int { return strings.Compare(l.folders[x].key(), l.folders[y].key()) })
	return order
}

// largeFrom is from which size a file is worth a question where it lies, bytes.
const largeFrom = 1 << 20

// InDiskOrder yields the files as they are on a disk on which seeking costs: the large ones by their places
// first, then the small ones, folder by folder and by their numbers. It opens every large file once.
func (l *List) InDiskOrder(ctx context.Context, root string, deadline time.Duration) iter.Seq[File] {
	type placed struct{ place, at int64 }
	return func(yield func(File) bool) {
		var large []placed
		last := int64(0)
		for f := range l.All() {
			if f.Size < largeFrom {
				continue
			}
			at, err := share.Guard(ctx, deadline, func() (int64, error) {
				at, ok, err := disk.Place(filepath.Join(root, filepath.FromSlash(f.Path)))
				if err != nil || !ok {
					at = -1
				}
				return at, nil
			})
			if err != nil && ctx.Err() != nil {
				return
			}
			if err != nil || at < 0 {
				at = last // beside the one that was listed before it
			}
			last = at
			large = append(large, placed{at, f.at})
		}
		slices.SortStableFunc(large, func(a, b placed) int { return cmp.Compare(a.place, b.place) })
		folders := make([]int32, len(l.folders))
		for i := range folders {
			folders[i] = int32(i)
		}
		slices.SortFunc(folders, func(x, y int32) int { return cmp.Compare(l.folders[x].at, l.folders[y].at) })
		in := &counted{Reader: bufio.NewReaderSize(nil, 1<<10)}
		for _, p := range large {
			i, found := slices.BinarySearchFunc(folders, p.at, func(i int32, at int64) int { return cmp.Compare(l.folders[i].at, at) })
			if !found {
				i--
			}
			in.Reset(io.NewSectionReader(lockedAt{l}, p.at, l.spool.size()-p.at))
			in.at = p.at
			f, _, err := l.folders[folders[i]].read(in)
			if err != nil || !yield(f) {
				return
			}
		}
		for f := range l.All() {
			if f.Size < largeFrom && !yield(f) {
				return
			}
		}
	}
}

// Mark notes what became of a file. Safe for concurrent use.
func (l *List) Mark(f *File, m Mark) {
	var b [markSize]byte
	if m.Done {
		b[0] = 1
	}
	copy(b[1:], m.SHA256[:])
	binary.BigEndian.PutUint64(b[1+32:], uint64(m.Before))
	l.mu.Lock()
	defer l.mu.Unlock()
	_, _ = l.spool.WriteAt(b[:], f.at) // what could not be marked counts as not done
}

// Sorted yields the files in the bytewise order of their paths, with what was marked.
func (l *List) Sorted() iter.Seq2[File, Mark] {
	type marked struct {
		File
		Mark
	}
	return func(yield func(File, Mark) bool) {
		order := l.byPath()
		in := &counted{Reader: bufio.NewReaderSize(nil, 1<<15)}
		// Files of a folder and what is in folders below it take turns: "a.c" comes before "a/b", "a0" after it.
		var folder func(k int) (next int, more bool)
		folder = func(k int) (int, bool) {
			f := &l.folders[order[k]]
			files := make([]marked, 0, f.files)
			l.each(in, f, func(f File, m Mark) bool { files = append(files, marked{f, m}); return true })
			slices.SortFunc(files, func(a, b marked) int { return strings.Compare(a.Path, b.Path) })
			next, i := k+1, 0
			for next < len(order) && strings.HasPrefix(l.folders[order[next]].key(), f.key()) {
				for below := l.folders[order[next]].key(); i < len(files) && files[i].Path < below; i++ {
					if !yield(files[i].File, files[i].Mark) {
						return 0, false
					}
				}
				var more bool
				if next, more = folder(next); !more {
					return 0, false
				}
			}
			for ; i < len(files); i++ {
				if !yield(files[i].File, files[i].Mark) {
					return 0, false
				}
			}
			return next, true
		}
		for k, more := 0, true; k < len(order) && more; {
			k, more = folder(k)
		}
	}
}
