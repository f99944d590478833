package seal

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"
	"unsafe"

	"loadline/checks/share"
)

const (
	// blockSize is how much is asked for at a time, bytes: four transfers of the largest size of
	// NFS (1,048,576 bytes, nfs(5) rsize), which the client sends side by side.
	blockSize = 4 << 20
	// blockAlign is what O_DIRECT wants of offsets, lengths and memory (open(2): the block size of
	// the device, 512 or 4,096 bytes).
	blockAlign = 4096
	// blocksAhead is how many blocks a lane may have read and not yet hashed, plus the one that it
	// reads.
	blocksAhead = 3
)

// A side reads the files of one side. Each of its lanes reads one file after the other, while a
// goroutine beside it hashes what was read.
type side struct {
	number   int    // sourceSide or shareSide
	name     string // for people: "the source"
	root     string
	place    string // what its idents are of: device or host:/export, and file system
	roaming  bool   // the number of its device changes from mount to mount
	lanes    int
	md5      bool
	deadline time.Duration // longest silence of one call
	// recalled returns what a file was when an earlier run read it, 0 if none did. It is called
	// from several goroutines.
	recalled func(file int) ident

	next  atomic.Int64
	bytes atomic.Int64 // read, or known from an earlier run
	read  atomic.Int64 // read in this run
	known atomic.Int64 // files taken from an earlier run
	heard atomic.Int64 // when the side last answered, nanoseconds since 1970

	mu   sync.Mutex
	ways map[string]int64 // files read in this run, by how the cache was passed
}

// A reading is what became of one file on one side.
type reading struct {
	file    int
	sums    Sums
	err     error // it could not be opened or read
	got     int64 // bytes read
	size    int64 // as it was when it was opened
	changed bool  // size or times were not the same after reading
	ident   ident
	known   bool // not read: an earlier run had, and it is unchanged
}

// block is a piece of a file on its way from reading to hashing.
type block struct {
	memory []byte // goes back to the lane; nil if there is none
	data   []byte
	last   *reading // set at the end of a file
}

// run reads the files of order and passes what became of them to done, which is called from several
// goroutines. It returns share.ErrSilent, share.ErrBusy or the error of ctx where
// it could not go on: done is then not called for the rest.
func (s *side) run(ctx context.Context, t *tree, order []int32, done func(*reading)) error {
	s.ways = map[string]int64{}
	s.heard.Store(time.Now().UnixNano())
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var lanes sync.WaitGroup
	for range s.lanes {
		lanes.Add(1)
		go func() {
			defer lanes.Done()
			if err := s.lane(ctx, t, order, done); err != nil {
				cancel(err)
			}
		}()
	}
	lanes.Wait()
	return context.Cause(ctx)
}

func (s *side) lane(ctx context.Context, t *tree, order []int32, done func(*reading)) error {
	free := make(chan []byte, blocksAhead)
	for range blocksAhead {
		free <- nil // made when it is first needed: most lanes of a small job read nothing
	}
	blocks := make(chan block, blocksAhead)
	hashed := make(chan struct{})
	go func() {
		defer close(hashed)
		sums := newSummer(s.md5)
		for b := range blocks {
			sums.write(b.data)
			if b.last != nil {
				b.last.sums = sums.take()
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
		if err := s.file(ctx, t, int(order[at]), free, blocks, done); err != nil {
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
func (s *side) file(ctx context.Context, t *tree, i int, free chan []byte, blocks chan<- block, done func(*reading)) error {
	path := filepath.Join(s.root, filepath.FromSlash(t.path(i)))
	r := &reading{file: i}
	if was := s.recalled(i); was != 0 {
		info, err := guarded(ctx, s, func() (os.FileInfo, error) { return os.Lstat(path) })
		if fatal(ctx, err) {
			return err
		}
		if err == nil && info.Mode().IsRegular() {
			st := statOf(info)
			if s.identOf(&st) == was {
				s.known.Add(1)
				s.bytes.Add(st.size)
				r.known, r.size, r.got, r.ident = true, st.size, st.size, was
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
	if fatal(ctx, err) {
		return err // the call may still write into memory: it is given up with it
	}
	if err != nil {
		r.err = err
		blocks <- block{memory: memory, last: r}
		return nil
	}
	r.size = o.before.size
	skip := 0
	for {
		data := memory[skip:max(o.n, skip)]
		r.got += int64(len(data))
		s.bytes.Add(int64(len(data)))
		s.read.Add(int64(len(data)))
		if o.ended || r.got >= r.size || len(data) == 0 {
			if !o.ended {
				last, err := guarded(ctx, s, func() (*opened, error) { return o.end() })
				if fatal(ctx, err) {
					return err
				}
				if err != nil {
					r.err = err
				} else {
					o = last
				}
			}
			r.changed = o.before != o.after
			r.ident = s.identOf(&o.after)
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
		at := r.got &^ (blockAlign - 1)
		skip = int(r.got - at)
		into, held := memory, o
		o, err = guarded(ctx, s, func() (*opened, error) { return held.more(into, at) })
		if fatal(ctx, err) {
			return err
		}
		if err != nil {
			_ = held.Close() // the error of reading is the one that counts
			r.err = err
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
	b := make([]byte, blockSize+blockAlign)
	at := int(-uintptr(unsafe.Pointer(&b[0])) & (blockAlign - 1))
	return b[at : at+blockSize : at+blockSize]
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

func (s *side) count(way string) {
	s.mu.Lock()
	s.ways[way]++
	s.mu.Unlock()
}

// guarded is share.Guard that notes when the side answered.
func guarded[T any](ctx context.Context, s *side, f func() (T, error)) (T, error) {
	v, err := share.Guard(ctx, s.deadline, f)
	if !fatal(ctx, err) {
		s.heard.Store(time.Now().UnixNano())
	}
	return v, err
}

// fatal tells an error that ends the whole side from one of a file.
func fatal(ctx context.Context, err error) bool {
	return err != nil && (ctx.Err() != nil || isSilent(err))
}

func (s *side) identOf(st *stat) ident {
	held := *st
	if s.roaming {
		held.device = 0
	}
	return identOf(s.place, &held)
}
