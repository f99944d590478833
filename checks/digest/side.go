package digest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"
	"unsafe"

	"loadline/checks/internal/sums"
	"loadline/checks/share"
)

const (
	// BlockSize is how much is asked for at a time, bytes: four transfers of the largest size of
	// NFS (1,048,576 bytes, nfs(5) rsize), which the client sends side by side.
	BlockSize = 4 << 20
	// blockAlign is what O_DIRECT wants of offsets, lengths and memory (open(2): the block size of
	// the device, 512 or 4,096 bytes).
	blockAlign = 4096
	// blocksAhead is how many blocks a lane may have read and not yet hashed, plus the one that it
	// reads.
	blocksAhead = 3
)

// A Side reads the files of one side. Each of its lanes reads one file after the other, while a
// goroutine beside it hashes what was read.
type Side struct {
	Number   int    // sourceSide or shareSide
	Name     string // for people: "the source"
	Root     string
	Path     func(file int) string // relative to root
	Place    string                // what its idents are of: device or host:/export, and file system
	Roaming  bool                  // the number of its device changes from mount to mount
	Lanes    int
	MD5      bool
	Deadline time.Duration // longest silence of one call
	// recalled returns what a file was when an earlier run read it, 0 if none did. It is called
	// from several goroutines.
	Recalled func(file int) Ident

	next  atomic.Int64
	Bytes atomic.Int64 // read, or known from an earlier run
	Read  atomic.Int64 // read in this run
	Known atomic.Int64 // files taken from an earlier run
	Heard atomic.Int64 // when the side last answered, nanoseconds since 1970

	mu   sync.Mutex
	Ways map[string]int64 // files read in this run, by how the cache was passed
}

// A Reading is what became of one file on one side.
type Reading struct {
	File    int
	Sums    sums.Sums
	Err     error // it could not be opened or read
	Got     int64 // bytes read
	Size    int64 // as it was when it was opened
	Changed bool  // size or times were not the same after reading
	Ident   Ident
	Known   bool // not read: an earlier run had, and it is unchanged
}

// block is a piece of a file on its way from reading to hashing.
type block struct {
	memory []byte // goes back to the lane; nil if there is none
	data   []byte
	last   *Reading // set at the end of a file
}

// Run reads the files of order and passes what became of them to done, which is called from several
// goroutines. It returns share.ErrSilent, share.ErrBusy or the error of ctx where
// it could not go on: done is then not called for the rest.
func (s *Side) Run(ctx context.Context, order []int32, done func(*Reading)) error {
	s.Ways = map[string]int64{}
	s.Heard.Store(time.Now().UnixNano())
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var lanes sync.WaitGroup
	for range s.Lanes {
		lanes.Add(1)
		go func() {
			defer lanes.Done()
			if err := s.lane(ctx, order, done); err != nil {
				cancel(err)
			}
		}()
	}
	lanes.Wait()
	return context.Cause(ctx)
}

func (s *Side) lane(ctx context.Context, order []int32, done func(*Reading)) error {
	free := make(chan []byte, blocksAhead)
	for range blocksAhead {
		free <- nil // made when it is first needed: most lanes of a small job read nothing
	}
	blocks := make(chan block, blocksAhead)
	hashed := make(chan struct{})
	go func() {
		defer close(hashed)
		sums := sums.New(s.MD5)
		for b := range blocks {
			sums.Write(b.data)
			if b.last != nil {
				b.last.Sums = sums.Take()
				done(b.last)
			}
			if b.memory != nil {
				free <- b.memory
			}
		}
	}()
	defer func() { close(blocks); <-hashed }()
	for {
		at := s.next.Add(1) - 1
		if at >= int64(len(order)) {
			return nil
		}
		if err := s.file(ctx, int(order[at]), free, blocks, done); err != nil {
			return err
		}
	}
}

// opened is a file between two steps of reading it.
type opened struct {
	f      *os.File
	way    string
	before stat
	after  stat
	n      int // bytes read in this step
	ended  bool
}

// Close lets share.Guard close a file whose opening came too late.
func (o *opened) Close() error {
	if o.f == nil {
		return nil
	}
	return o.f.Close()
}

// file reads one file. The error is that of a side that is silent or stopped; an error of the file
// goes into its reading.
func (s *Side) file(ctx context.Context, i int, free chan []byte, blocks chan<- block, done func(*Reading)) error {
	path := filepath.Join(s.Root, filepath.FromSlash(s.Path(i)))
	r := &Reading{File: i}
	if was := s.Recalled(i); was != 0 {
		info, err := guarded(ctx, s, func() (os.FileInfo, error) { return os.Lstat(path) })
		if Fatal(ctx, err) {
			return err
		}
		if err == nil && info.Mode().IsRegular() {
			st := statOf(info)
			if s.identOf(&st) == was {
				s.Known.Add(1)
				s.Bytes.Add(st.size)
				r.Known, r.Size, r.Got, r.Ident = true, st.size, st.size, was
				done(r)
				return nil
			}
		}
	}
	memory, err := take(ctx, free)
	if err != nil {
		return err
	}
	o, err := guarded(ctx, s, func() (*opened, error) { return begin(path, memory) })
	if Fatal(ctx, err) {
		return err // the call may still write into memory: it is given up with it
	}
	if err != nil {
		r.Err = err
		blocks <- block{memory: memory, last: r}
		return nil
	}
	r.Size = o.before.size
	skip := 0
	for {
		data := memory[skip:max(o.n, skip)]
		r.Got += int64(len(data))
		s.Bytes.Add(int64(len(data)))
		s.Read.Add(int64(len(data)))
		if o.ended || r.Got >= r.Size || len(data) == 0 {
			if !o.ended {
				last, err := guarded(ctx, s, func() (*opened, error) { return o.end() })
				if Fatal(ctx, err) {
					return err
				}
				if err != nil {
					r.Err = err
				} else {
					o = last
				}
			}
			r.Changed = o.before != o.after
			r.Ident = s.identOf(&o.after)
			s.count(o.way)
			blocks <- block{memory: memory, data: data, last: r}
			return nil
		}
		blocks <- block{memory: memory, data: data}
		if memory, err = take(ctx, free); err != nil {
			_ = o.Close() // stopped: nobody asks
			return err
		}
		// A short read may end anywhere; the next one must begin at a whole block.
		at := r.Got &^ (blockAlign - 1)
		skip = int(r.Got - at)
		into, held := memory, o
		o, err = guarded(ctx, s, func() (*opened, error) { return held.more(into, at) })
		if Fatal(ctx, err) {
			return err
		}
		if err != nil {
			_ = held.Close() // the error of reading is the one that counts
			r.Err = err
			blocks <- block{memory: memory, last: r}
			return nil
		}
	}
}

// take waits for a free block.
func take(ctx context.Context, free <-chan []byte) ([]byte, error) {
	select {
	case b := <-free:
		if b == nil {
			b = alignedBlock()
		}
		return b, nil
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// alignedBlock returns memory for one block as O_DIRECT wants it.
func alignedBlock() []byte {
	b := make([]byte, BlockSize+blockAlign)
	at := int(-uintptr(unsafe.Pointer(&b[0])) & (blockAlign - 1))
	return b[at : at+BlockSize : at+BlockSize]
}

// begin opens a file and reads its first block, and if that is all, ends it: one call for a small
// file.
func begin(path string, memory []byte) (*opened, error) {
	f, way, err := openPast(path)
	if err != nil {
		return nil, err
	}
	o := &opened{f: f, way: way}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = &fs.PathError{Op: "read", Path: path, Err: fs.ErrInvalid}
	}
	if err == nil {
		o.before = statOf(info)
		o.n, err = readBlock(f, memory[:wanted(o.before.size, len(memory))], 0, &o.way)
	}
	if err != nil {
		_ = f.Close() // the first error is the one that counts
		return nil, err
	}
	if int64(o.n) >= o.before.size || o.n == 0 {
		return o.end()
	}
	return o, nil
}

// wanted is how much to ask for of what is left: whole blocks, and never nothing, so that an empty
// file is read too.
func wanted(left int64, most int) int {
	return int(min(max(left+blockAlign-1, blockAlign)&^(blockAlign-1), int64(most)))
}

// more reads the next block. It leaves o alone, which somebody else may hold.
func (o *opened) more(memory []byte, at int64) (*opened, error) {
	next := *o
	var err error
	next.n, err = readBlock(o.f, memory[:wanted(o.before.size-at, len(memory))], at, &next.way)
	return &next, err
}

// end looks at a file once more and closes it.
func (o *opened) end() (*opened, error) {
	last := *o
	last.ended = true
	info, err := o.f.Stat()
	if err == nil {
		last.after = statOf(info)
		doneReading(o.f, o.way)
	}
	if closed := o.f.Close(); err == nil {
		err = closed
	}
	return &last, err
}

func (s *Side) count(way string) {
	s.mu.Lock()
	s.Ways[way]++
	s.mu.Unlock()
}

// guarded is share.Guard that notes when the side answered.
func guarded[T any](ctx context.Context, s *Side, f func() (T, error)) (T, error) {
	v, err := share.Guard(ctx, s.Deadline, f)
	if !Fatal(ctx, err) {
		s.Heard.Store(time.Now().UnixNano())
	}
	return v, err
}

// Fatal tells an error that ends the whole side from one of a file.
func Fatal(ctx context.Context, err error) bool {
	return err != nil && (ctx.Err() != nil || Silent(err))
}

func (s *Side) identOf(st *stat) Ident {
	held := *st
	if s.Roaming {
		held.device = 0
	}
	return identOf(s.Place, &held)
}

// Silent reports whether an error says that a side does not answer.
func Silent(err error) bool {
	return errors.Is(err, share.ErrSilent) || errors.Is(err, share.ErrBusy)
}

// File reads a file past the cache. It may hang where the file is on a share.
func File(path string) (sums.Sums, error) {
	f, way, err := openPast(path)
	if err != nil {
		return sums.Sums{}, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return sums.Sums{}, err
	}
	s, memory := sums.New(false), alignedBlock()
	for at := int64(0); at < info.Size(); {
		from := at &^ (blockAlign - 1)
		n, err := readBlock(f, memory[:wanted(info.Size()-from, len(memory))], from, &way)
		if err != nil {
			return sums.Sums{}, err
		}
		skip := int(at - from)
		if n <= skip {
			return sums.Sums{}, fmt.Errorf("%w: %d of %d bytes", io.ErrUnexpectedEOF, at, info.Size())
		}
		s.Write(memory[skip:n])
		at += int64(n - skip)
	}
	return s.Take(), nil
}
