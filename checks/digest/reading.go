// Package digest reads files to their last byte: past this computer's cache, in the order of the disk, around
// what cannot be read, and never again what it has read before and is unchanged since.
package digest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/meter"
	"loadline/checks/internal/sums"
	"loadline/checks/share"
)

// A Reading reads the files of one folder and those below it. Set the exported fields, then call Run, once.
// Each of its lanes reads one file after the other, while a goroutine beside it hashes what was read.
type Reading struct {
	Root     string
	Name     string        // for people: "the source"
	Lanes    int           // how many files are read at a time; see LanesOn
	Seeks    bool          // going to and fro between files costs; see LanesOn
	Deadline time.Duration // longest silence of one call
	Places   *Places       // what files are known by; nil: none is known again
	Memory   *Memory       // what is remembered and will be; nil: nothing
	// Again forgets what is remembered of a file: it is read. Nil forgets nothing.
	Again func(*Record) bool
	// Want says which digests a file gets besides SHA-256; nil: none. It is called concurrently.
	Want func(*File) sums.Set
	// Also, where it returns a writer for a file, passes the whole content on, block by block, beside the digests;
	// such a file is read even if it is known. Nil passes nothing on. It is called concurrently.
	Also  func(*File) io.Writer
	Meter *meter.Meter // what is read is counted there; nil: nowhere

	// Open opens a file to be read; nil means disk.OpenPast.
	Open func(path string) (*disk.Reader, error)
	// Block is how much one call asks for, bytes; 0 chooses.
	Block int
	// Stretch is how long the parts of a file are whose rate is reported, bytes; 0 means stretchSize.
	Stretch int64
	// Now is the clock by which rates are made; nil means time.Now.
	Now func() time.Time

	known atomic.Int64 // files that an earlier run had read
	row   atomic.Int64 // files in a row that could not be read
	root  disk.State
	// memory tells that the root is in memory: what is on that device never waits.
	memory bool
	ahead  int // how many blocks of a file are asked for at a time
	// turns has a place for each file that may be read at a time, where seeking costs. There is a lane more than places:
	// it begins with the next file as the last block of one is on its way, so that the disk goes straight on.
	turns chan struct{}
	curve curve

	mu   sync.Mutex
	ways map[Way]int64 // files read in this run, by how the cache was passed
	next func() (File, bool)
}

// How many files are read at a time. They stay below the number of calls that share.Guard lets run at a time,
// 8. On a share several lanes hide the round trips of small files; a disk on which seeking costs would only
// seek between them.
const (
	LanesShare   = 4
	lanesSolid   = 2
	lanesSeeking = 1
)

// LanesOn returns how many files to read at a time on what a folder is on. It may ask a server.
func LanesOn(root string) (lanes int, seeks bool) {
	m := disk.MediumOf(root)
	switch {
	case m.Network == disk.Yes:
		return LanesShare, false
	case m.Seeks():
		return lanesSeeking, true
	}
	return lanesSolid, false
}

// A Way is how far the reading of a file went past this computer's cache, and by which of the system's means.
type Way struct {
	How disk.Way
	By  string // such as O_DIRECT; "" where the cache was not passed
}

// Past reports whether the cache was passed.
func (w Way) Past() bool { return w.How != disk.Cached }

// A Result is what became of one file.
type Result struct {
	File
	Sums sums.Sums
	// Err says that the file could not be opened, or not be read to its last byte.
	Err error
	// Bad are the parts that cannot be read, in their order. Where Cut is set the rest of the file, from the last
	// of them on, was not asked for any more.
	Bad     []Part
	Cut     bool
	Got     int64 // bytes read
	Length  int64 // size when it was opened, bytes
	Changed bool  // size or dates were not the same after reading
	Ident   Ident // of the state that was read; 0 if it cannot be known again
	Kin     Ident // of the file in whatever state
	Known   bool  // not read: an earlier run had, and it is unchanged
	When    time.Time
	Way     Way
	// Stretches are how long its parts took, of Reading.Stretch each, where it is as large as that.
	Stretches []Stretch
	At        int64 // bytes that the run had read before it
}

// A Part is a part of a file.
type Part struct{ Offset, Length int64 }

// Lost is how many bytes could not be read, those that were not asked for included.
func (r *Result) Lost() int64 {
	n := int64(0)
	for _, p := range r.Bad {
		n += p.Length
	}
	return n
}

// Whole reports whether a file was read to its last byte, and stayed the same meanwhile.
func (r *Result) Whole() bool {
	return r.Err == nil && !r.Changed && r.Got == r.Length && r.Length == r.Size
}

// Errors that end a whole reading, besides share.ErrSilent, share.ErrBusy and that of the context.
var (
	ErrGone  = errors.New("the disk is no longer there")
	ErrDying = errors.New("nothing but errors")
)

// mostErrors is how many files in a row may fail before it is put down to the whole disk (common practice,
// no source).
const mostErrors = 16

// Blocks: four transfers of the largest size of NFS (1,048,576 bytes, nfs(5) rsize), which the client sends
// side by side; on a disk one large page of memory; where one goroutine reads and hashes, what stays in the cache of
// its core between both (measured).
const (
	blockLarge  = 4 << 20
	blockDisk   = 2 << 20
	blockMemory = 1 << 18
	// aheadDisk is how many blocks of a file are asked for at a time on a disk, in their order: it always has a next
	// one to go on with.
	aheadDisk = 2
	// blocksWaiting is how many blocks a lane may have read and not yet hashed.
	blocksWaiting = 2
)

// Run reads files and passes what became of each to done, which is called from several goroutines. The error
// says why it could not go on: done was then not called for the rest. Everything that was read until then is
// remembered, if there is a Memory.
func (r *Reading) Run(ctx context.Context, files iter.Seq[File], done func(*Result)) error {
	r.ways = map[Way]int64{}
	if r.Now == nil {
		r.Now = time.Now
	}
	ours := r.Open == nil
	if ours {
		r.Open = disk.OpenPast
	}
	if r.Meter == nil {
		r.Meter = &meter.Meter{}
	}
	if r.Stretch == 0 {
		r.Stretch = stretchSize
	}
	r.Meter.Hear(time.Now())
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var err error
	if r.root, err = guarded(ctx, r, func() (disk.State, error) { return disk.Lstat(r.Root) }); err != nil {
		return err
	}
	if r.memory, err = guarded(ctx, r, func() (bool, error) { return ours && disk.MediumOf(r.Root).Memory, nil }); err != nil {
		return err
	}
	if !r.memory {
		defer moreThreads()()
	}
	block := blockDisk
	switch r.ahead = 1; {
	case r.memory:
		block = blockMemory
	case r.Lanes >= LanesShare:
		block = blockLarge
	default:
		r.ahead = aheadDisk
	}
	if r.Block == 0 {
		r.Block = block
	}
	next, stop := iter.Pull(files)
	defer stop()
	r.next = func() (File, bool) {
		r.mu.Lock()
		defer r.mu.Unlock()
		return next()
	}
	n := max(r.Lanes, 1)
	if r.Seeks {
		r.turns = make(chan struct{}, n)
		n++
	}
	var lanes sync.WaitGroup
	for range n {
		lanes.Go(func() {
			if err := r.lane(ctx, done); err != nil {
				cancel(err)
			}
		})
	}
	lanes.Wait()
	return context.Cause(ctx)
}

// Known is how many files an earlier run had read.
func (r *Reading) Known() int64 { return r.known.Load() }

// Ways counts the files that were read in this run by how the cache was passed.
func (r *Reading) Ways() map[Way]int64 { return r.ways }

// A lane reads one file after the other.
type lane struct {
	*Reading
	ctx    context.Context
	free   chan []byte
	blocks chan block
	sums   *sums.Summer
	done   func(*Result)
	turn   bool // it has one of Reading.turns
}

// block is a piece of a file on its way from reading to hashing.
type block struct {
	memory []byte // goes back to the lane; nil if there is none
	data   []byte
	begin  sums.Set // digests of the file that begins here
	first  bool
	also   io.Writer // gets the data too; may be nil
	last   *Result   // set at the end of a file
}

func (r *Reading) lane(ctx context.Context, done func(*Result)) error {
	blocks := r.ahead
	if !r.memory {
		blocks += blocksWaiting
	}
	l := &lane{Reading: r, ctx: ctx, free: make(chan []byte, blocks), blocks: make(chan block, blocks), done: done}
	l.sums = sums.New(0)
	for range blocks {
		l.free <- nil // made when it is first needed: most lanes of a small job read nothing
	}
	if !r.memory {
		var hashing sync.WaitGroup
		hashing.Go(l.hash)
		defer func() { close(l.blocks); hashing.Wait() }()
	}
	defer l.leave()
	for l.enter() {
		f, ok := r.next()
		if !ok || ctx.Err() != nil {
			break
		}
		if err := l.file(&f); err != nil {
			return err
		}
		if r.row.Load() >= mostErrors {
			return fmt.Errorf("%s: %w any more, from %d files in a row", r.Name, ErrDying, mostErrors)
		}
		l.leave()
	}
	return context.Cause(ctx)
}

// enter waits until it is this lane's turn to read a file. It reports false where the reading has ended.
func (l *lane) enter() bool {
	if l.turns == nil {
		return true
	}
	select {
	case l.turns <- struct{}{}:
		l.turn = true
	case <-l.ctx.Done():
	}
	return l.turn
}

// leave lets another lane read a file.
func (l *lane) leave() {
	if l.turn {
		<-l.turns
		l.turn = false
	}
}

// pass has a block hashed: beside the reading, or where that never waits, at once, while the block is in the cache of
// this core.
func (l *lane) pass(b block) {
	if l.memory {
		l.hashOne(&b)
		return
	}
	l.blocks <- b
}

// hash hashes what the lane has read.
func (l *lane) hash() {
	for b := range l.blocks {
		l.hashOne(&b)
	}
}

func (l *lane) hashOne(b *block) {
	if b.first {
		l.sums.Begin(b.begin)
	}
	l.sums.Write(b.data)
	if b.also != nil {
		_, _ = b.also.Write(b.data) // hashes never fail
	}
	if b.last != nil {
		if b.last.Err == nil {
			b.last.Sums = l.sums.Sums()
		}
		l.end(b.last)
	}
	if b.memory != nil {
		l.free <- b.memory
	}
}

// end remembers and passes on what became of a file.
func (l *lane) end(r *Result) {
	l.Meter.Done.Add(r.Size - r.Got)
	switch {
	case r.Known || r.Ident == 0:
	case r.Whole():
		l.Memory.add(&Record{Ident: r.Ident, Kin: r.Kin, When: r.When, Sums: r.Sums})
	case len(r.Bad) > 0 && !r.Changed:
		l.Memory.add(&Record{Ident: r.Ident, Kin: r.Kin, When: r.When, Bad: r.Bad[0].Offset, Lost: r.Lost()})
	}
	l.done(r)
}

// opened is a file between two steps of reading it. No step changes one that another may hold.
type opened struct {
	*disk.Reader
	state disk.State
	after disk.State
	data  int       // bytes read in this step
	began time.Time // when they were asked for
	came  time.Time
	err   error // of reading; the file is still open
	ended bool
}

// Close lets share.Guard close a file whose opening came too late.
func (o *opened) Close() error {
	if o.ended {
		return nil
	}
	return o.Reader.Close()
}

// file reads one file. The error is one that ends the whole reading; that of the file goes into its result.
func (l *lane) file(f *File) error {
	path := filepath.Join(l.Root, filepath.FromSlash(f.Path))
	r := &Result{File: *f, When: l.Now(), At: l.Meter.Read.Load()}
	want := sums.Set(0)
	if l.Want != nil {
		want = l.Want(f)
	}
	var also io.Writer
	if l.Also != nil {
		also = l.Also(f)
	}
	if also == nil {
		if known, err := l.remembered(r, path, want); known || err != nil {
			return err
		}
	}
	memory, err := l.take()
	if err != nil {
		return err
	}
	o, err := guarded(l.ctx, l.Reading, func() (*opened, error) { return begin(path, l.Open, memory, l.Now) })
	if fatal(l.ctx, err) {
		return err // the call may still write into memory: it is given up with it
	}
	if err != nil {
		r.Err = err
		return l.fail(r, memory)
	}
	r.Length = o.state.Size
	first := true
	pass := func(b block) {
		b.first, b.begin, b.also, first = first, want, also, false
		l.pass(b)
	}
	s := stretcher{r: r, size: l.Stretch}
	q := queue{lane: l, o: o, next: int64(len(memory))}
	for skip := 0; ; {
		data := memory[min(skip, o.data):o.data]
		r.Got += int64(len(data))
		l.count(len(data))
		s.add(int64(len(data)), o.began, o.came)
		ends := o.err != nil || o.ended || r.Got >= r.Length || len(data) == 0
		// A short read may end anywhere; the next one begins at a whole block.
		if at := r.Got &^ (disk.Align - 1); ends || at != q.begins() {
			if err := q.empty(at); err != nil {
				return err
			}
		}
		switch {
		case o.err != nil:
			if err := l.around(o, r, memory, r.Got); err != nil {
				return err
			}
			if o, err = l.ending(o); err != nil {
				return err
			}
			l.settle(r, o)
			return l.fail(r, memory)
		case ends:
			if o, err = l.ending(o); err != nil {
				return err
			}
			s.end()
			l.settle(r, o)
			pass(block{memory: memory, data: data, last: r})
			return nil
		}
		pass(block{memory: memory, data: data})
		if memory, o, err = q.read(r.Length); err != nil {
			return err
		}
		skip = int(r.Got % disk.Align)
	}
}

// A queue asks for the blocks of one file in their order, a few at a time.
type queue struct {
	*lane
	o     *opened
	next  int64 // where the block begins that is asked for next
	asked []asked
}

// asked is a block on its way.
type asked struct {
	at     int64
	memory []byte
	answer chan answer
}

type answer struct {
	*opened
	err error // one that ends the whole reading
}

// begins is where the block begins that read returns next.
func (q *queue) begins() int64 {
	if len(q.asked) > 0 {
		return q.asked[0].at
	}
	return q.next
}

// read waits for the next block of a file of some length, and sees that there are others on their way meanwhile.
func (q *queue) read(length int64) ([]byte, *opened, error) {
	for len(q.asked) == 0 || len(q.asked) < q.ahead && q.next < length {
		memory, err := q.take()
		if err != nil {
			go q.o.Close() // stopped: nobody asks; what is on its way may hang
			return nil, nil, err
		}
		a := asked{q.next, memory, make(chan answer, 1)}
		q.asked = append(q.asked, a)
		q.next += int64(len(memory))
		last := q.next >= length
		if q.memory && q.o.state.Device == q.root.Device {
			a.answer <- answer{q.o.more(memory, a.at, q.Now), nil} // a goroutine would cost more than the read
			q.Meter.Hear(q.Now())
			continue
		}
		go func() {
			o, err := guarded(q.ctx, q.Reading, func() (*opened, error) { return q.o.more(memory, a.at, q.Now), nil })
			a.answer <- answer{o, err}
		}()
		if last {
			q.leave()
		}
	}
	a := q.asked[0]
	q.asked = q.asked[1:]
	came := <-a.answer
	return a.memory, came.opened, came.err
}

// empty waits for the blocks that are on their way and nobody wants any more. The next one begins elsewhere.
func (q *queue) empty(next int64) error {
	for _, a := range q.asked {
		if came := <-a.answer; came.err != nil {
			return came.err // the call may still write into its memory
		}
		q.free <- a.memory
	}
	q.asked, q.next = nil, next
	return nil
}

// remembered reports whether a file is known from an earlier run, and passes that on.
func (l *lane) remembered(r *Result, path string, want sums.Set) (bool, error) {
	if l.Memory.Known() == 0 || l.Places == nil {
		return false, nil
	}
	state, err := guarded(l.ctx, l.Reading, func() (disk.State, error) { return disk.Lstat(path) })
	if fatal(l.ctx, err) {
		return false, err
	}
	if err != nil {
		return false, nil // opening it tells
	}
	rec, ok := l.Memory.Find(l.Places.IdentOf(r.Path, &state))
	if !ok || !rec.Whole() || rec.Sums.Has&want != want || l.Again != nil && l.Again(&rec) {
		return false, nil
	}
	r.Known, r.Sums, r.When, r.Ident, r.Length = true, rec.Sums, rec.When, rec.Ident, state.Size
	r.Kin = rec.Kin
	l.known.Add(1)
	l.row.Store(0)
	r.Got = r.Length
	l.Meter.Done.Add(r.Got)
	l.end(r)
	return true, nil
}

// fail passes on a file that could not be read, and looks whether the disk is still there.
func (l *lane) fail(r *Result, memory []byte) error {
	state, err := guarded(l.ctx, l.Reading, func() (disk.State, error) { return disk.Lstat(l.Root) })
	if fatal(l.ctx, err) {
		return err
	}
	if err != nil || state.Device != l.root.Device || state.Number != l.root.Number || disk.Gone(r.Err) {
		return fmt.Errorf("%s: %w", l.Name, ErrGone)
	}
	if !errors.Is(r.Err, fs.ErrNotExist) && !errors.Is(r.Err, fs.ErrPermission) {
		l.row.Add(1)
	}
	l.pass(block{memory: memory, first: true, last: r})
	return nil
}

// settle fills in what is known at the end of a file.
func (l *lane) settle(r *Result, o *opened) {
	if r.Err == nil {
		r.Err = o.err
	}
	if r.Err == nil && r.Got > 0 { // for an empty file the disk is not asked
		l.row.Store(0)
	}
	r.Changed = o.state != o.after && o.after != disk.State{}
	if l.Places != nil {
		r.Ident, r.Kin = l.Places.IdentOf(r.Path, &o.after), l.Places.kinOf(r.Path, &o.after)
	}
	r.Way = Way{o.Way(), o.By()}
	l.mu.Lock()
	l.ways[r.Way]++
	l.mu.Unlock()
}

// count counts bytes that were read.
func (r *Reading) count(n int) {
	if n > 0 {
		r.Meter.Done.Add(int64(n))
		r.curve.add(r.Meter.Read.Add(int64(n)), r.Now())
	}
}

// take waits for a free block.
func (l *lane) take() ([]byte, error) {
	select {
	case b := <-l.free:
		if b == nil {
			b = disk.Buffer(l.Block)
		}
		return b, nil
	case <-l.ctx.Done():
		return nil, context.Cause(l.ctx)
	}
}

// begin opens a file and reads its first block, and if that is all, ends it: one call for a small file.
func begin(path string, open func(string) (*disk.Reader, error), memory []byte, now func() time.Time) (*opened, error) {
	f, err := open(path)
	if err != nil {
		return nil, err
	}
	o := &opened{Reader: f}
	if o.state, err = disk.Stat(f.File()); err != nil {
		_ = f.Close() // the first error is the one that counts
		return nil, err
	}
	o = o.more(memory, 0, now)
	if o.err == nil && int64(o.data) >= o.state.Size {
		return o.end(), nil
	}
	return o, nil
}

// more reads the next block.
func (o *opened) more(memory []byte, at int64, now func() time.Time) *opened {
	next := *o
	// Whole blocks, and never nothing, so that an empty file is read too.
	n := int(min(max(o.state.Size-at+disk.Align-1, disk.Align)&^(disk.Align-1), int64(len(memory))))
	next.began = now()
	next.data, next.err = o.ReadAt(memory[:n], at)
	next.came = now()
	if errors.Is(next.err, io.EOF) {
		next.err = nil
	}
	return &next
}

// ending looks at a file once more and closes it.
func (l *lane) ending(o *opened) (*opened, error) {
	if o.ended {
		return o, nil
	}
	return guarded(l.ctx, l.Reading, func() (*opened, error) { return o.end(), nil })
}

func (o *opened) end() *opened {
	last := *o
	last.ended = true
	var err error
	if last.after, err = disk.Stat(o.File()); err != nil {
		last.err = err
	}
	if closed := o.Reader.Close(); last.err == nil {
		last.err = closed
	}
	return &last
}

// guarded is share.Guard that notes when the disk or the share answered.
func guarded[T any](ctx context.Context, r *Reading, f func() (T, error)) (T, error) {
	v, err := share.Guard(ctx, r.Deadline, f)
	if share.Silent(err) {
		err = fmt.Errorf("%s: %w", r.Name, err)
	}
	if !fatal(ctx, err) {
		r.Meter.Hear(time.Now())
	}
	return v, err
}

// fatal tells an error that ends the whole reading from one of a file.
func fatal(ctx context.Context, err error) bool {
	return err != nil && (ctx.Err() != nil || share.Silent(err))
}

// One reads a single file past the cache and returns its SHA-256. It may hang where the file is on a share.
func One(path string) (sums.Sums, error) {
	f, err := disk.OpenPast(path)
	if err != nil {
		return sums.Sums{}, err
	}
	defer f.Close()
	s, memory := sums.New(0), disk.Buffer(blockDisk)
	for at := int64(0); ; at += int64(len(memory)) {
		n, err := f.ReadAt(memory, at)
		s.Write(memory[:n])
		switch {
		case errors.Is(err, io.EOF) && at+int64(n) < f.Size():
			return sums.Sums{}, &os.PathError{Op: "read", Path: path, Err: io.ErrUnexpectedEOF}
		case errors.Is(err, io.EOF):
			return s.Sums(), nil
		case err != nil:
			return sums.Sums{}, err
		}
	}
}
