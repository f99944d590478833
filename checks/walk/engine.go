package walk

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"time"
)

// A node is one folder that waits or is being read, or has descendants that do. It holds its name
// and not its path: paths of all ancestors of a folder 5,000 deep would take gigabytes.
type node struct {
	up       *node
	name     string
	at       *folder // held open for its subfolders to be opened from; nil in portable walks
	dev, ino uint64  // both 0 where the system does not say
	length   int     // of its path, bytes
	depth    int32
	uid      uint32
	trap     bool // an automount point: what it is shows once it has been opened
}

// path builds the path from the names.
func (n *node) path() string {
	return string(n.appendPath(nil, nil))
}

// appendPath appends the path of n relative to its ancestor top to buf; nil means the root.
func (n *node) appendPath(buf []byte, top *node) []byte {
	size := n.length
	if top != nil && top.length > 0 {
		size -= top.length + 1
	}
	start := len(buf)
	if cap(buf)-start < size {
		buf = append(make([]byte, 0, start+size+1), buf...)
	}
	buf = buf[:start+size]
	for end := start + size; n != top && n.up != nil; n = n.up {
		end -= copy(buf[end-len(n.name):end], n.name)
		if end > start {
			end--
			buf[end] = '/'
		}
	}
	return buf
}

// again says whether the folder is one of its own ancestors. Inode numbers differ nearly always,
// so this costs a nanosecond a level.
func (n *node) again() bool {
	if n.ino == 0 {
		return false
	}
	for a := n.up; a != nil; a = a.up {
		if a.ino == n.ino && a.dev == n.dev {
			return true
		}
	}
	return false
}

// A system is a way to read folders; a walk uses one for all its workers.
type system interface {
	// lister returns what one worker reads with.
	lister() lister
	// drop tells that n will never be listed.
	drop(n *node)
	// close tells that no worker is left.
	close()
}

// A lister reads folders, one at a time.
type lister interface {
	// list reads the folder n and what is in it into w.dir, and returns its subfolders. It may
	// stop early once w.stopped.
	list(n *node, w *worker) []node
	// done tells that the folder that was listed last is no longer needed.
	done()
}

// What a worker is doing. Only idle and calling workers may hang in the system, so only these are
// left alone when a walk is cancelled.
const (
	idle     = iota // reading a folder or waiting for one
	visiting        // in Options.Visit
	calling         // in Options.Visit, in a method of Dir that asks the system
	stopped         // the walk was cancelled: do not visit any more
)

type worker struct {
	state   atomic.Int32
	walk    *engine
	dir     Dir
	entries []Entry // reused from folder to folder
	calls   int     // since it has let go
	_       [64]byte
}

// keepEntries is how many entries of memory (80 bytes each) a worker keeps for the next folder.
const keepEntries = 1 << 16

// grow returns n entries to be overwritten, made in one piece: doubling a slice of a million would
// take up three times its size.
func (w *worker) grow(n int) []Entry {
	if n > cap(w.entries) {
		if n > keepEntries {
			w.entries = nil
			return make([]Entry, n)
		}
		w.entries = make([]Entry, max(n, min(2*cap(w.entries), keepEntries), 64))
	}
	return w.entries[:n]
}

func (w *worker) stopped() bool { return w.state.Load() == stopped }

// enter begins a call that may hang while a visit goes on.
func (w *worker) enter() {
	if !w.state.CompareAndSwap(visiting, calling) {
		w.walk.left <- struct{}{}
		runtime.Goexit()
	}
}

// leave ends what enter began.
func (w *worker) leave() {
	if !w.state.CompareAndSwap(calling, visiting) {
		runtime.Goexit()
	}
}

// count adds to the progress.
func (w *worker) count(folders, entries, bytes int64) {
	p := w.walk.o.Progress
	if p == nil || w.stopped() {
		return
	}
	if folders != 0 {
		p.Folders.Add(folders)
	}
	if entries != 0 {
		p.Entries.Add(entries)
	}
	if bytes != 0 {
		p.Bytes.Add(bytes)
	}
}

// letGo counts system calls and now and then lets other goroutines run. From one that has not let go for 10 ms the
// scheduler takes its processor in the middle of a system call, and starts a thread that looks for other work in
// vain. Letting go by itself made the whole walk a fifth faster on two cores (Go 1.26).
func (w *worker) letGo(calls int) {
	if w.calls += calls; w.calls >= callsHeld {
		w.calls = 0
		runtime.Gosched()
	}
}

const (
	callsHeld     = 500 // take about a millisecond where nothing has to be waited for
	callsOfFolder = 10  // about as much as a folder takes besides its entries
)

// countEvery is after how many entries of one folder progress is counted.
const countEvery = 2048

// An engine is one walk.
type engine struct {
	o       Options
	sys     system
	workers []worker
	done    chan struct{} // closed when every worker has ended
	running atomic.Int32
	left    chan struct{} // one for each visit that ended after the walk was cancelled

	mu     sync.Mutex
	more   sync.Cond
	groups [][]node // what waits: last in, first out, so that little waits
	busy   int      // workers that may find more
	idle   int      // workers that wait
	halted bool
	err    error
}

// grace is how long a cancelled walk waits for visits that are going on.
const grace = 2 * time.Second

func run(ctx context.Context, o Options, sys system) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	e := &engine{
		o: o, sys: sys,
		workers: make([]worker, o.Workers),
		done:    make(chan struct{}),
		left:    make(chan struct{}, o.Workers),
		groups:  [][]node{{{}}},
		busy:    o.Workers,
	}
	e.more.L = &e.mu
	e.running.Store(int32(o.Workers))
	for i := range e.workers {
		w := &e.workers[i]
		w.walk = e
		w.dir.Worker = i
		go e.work(w)
	}
	select {
	case <-e.done:
		return e.err
	case <-ctx.Done():
	}
	waitFor := 0
	for i := range e.workers {
		if e.workers[i].state.Swap(stopped) == visiting {
			waitFor++
		}
	}
	e.halt(nil)
	timer := time.NewTimer(grace)
	defer timer.Stop()
	for ; waitFor > 0; waitFor-- {
		select {
		case <-e.left:
		case <-timer.C:
			return fmt.Errorf("%w: %w", ctx.Err(), ErrVisiting)
		}
	}
	return ctx.Err()
}

// halt makes every worker end at its next folder and drops what waits.
func (e *engine) halt(err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.halted = true
	if e.err == nil {
		e.err = err
	}
	for _, g := range e.groups {
		for i := range g {
			e.sys.drop(&g[i])
		}
	}
	e.groups = nil
	e.more.Broadcast()
}

var errGone = errors.New("a visitor has ended its goroutine")

// work is one worker from beginning to end.
func (e *engine) work(w *worker) {
	l := e.sys.lister()
	var own *node // taken and not yet listed
	finished := false
	defer func() {
		if own != nil {
			e.sys.drop(own)
		}
		l.done()
		if !finished && !w.stopped() {
			e.halt(errGone)
		}
		if e.running.Add(-1) == 0 {
			e.sys.close()
			close(e.done)
		}
	}()
	for {
		if own == nil {
			if own = e.pop(); own == nil {
				finished = true
				return
			}
		}
		n := own
		own = nil
		w.letGo(callsOfFolder)
		d := &w.dir
		*d = Dir{Path: n.path(), Depth: int(n.depth), Worker: d.Worker, Device: n.dev, by: w}
		var subs []node
		if n.again() {
			e.sys.drop(n)
			d.Loop = true
		} else {
			subs = l.list(n, w)
		}
		w.letGo(len(d.Entries))
		if w.stopped() {
			for i := range subs {
				e.sys.drop(&subs[i])
			}
			return
		}
		if n.up == nil && d.Err != nil && len(d.Entries) == 0 {
			e.halt(fmt.Errorf("cannot read the folder: %w", d.Err))
			finished = true
			return
		}
		if len(subs) > 0 {
			own = e.push(subs)
		}
		w.count(1, 0, 0)
		if !w.state.CompareAndSwap(idle, visiting) {
			return
		}
		e.o.Visit(d)
		if !w.state.CompareAndSwap(visiting, idle) {
			e.left <- struct{}{}
			return
		}
		huge := len(d.Entries) > keepEntries
		d.at, d.Entries, d.why = nil, nil, nil
		l.done()
		if huge {
			// What a huge folder took would otherwise still be there when the next one comes.
			runtime.GC()
		}
	}
}

// push adds the subfolders of one folder. Unless somebody waits for work it gives the first one
// straight back, which saves a lock.
func (e *engine) push(subs []node) (own *node) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.halted {
		for i := range subs {
			e.sys.drop(&subs[i])
		}
		return nil
	}
	if e.idle == 0 {
		own, subs = &subs[0], subs[1:]
	}
	if len(subs) > 0 {
		e.groups = append(e.groups, subs)
	}
	for range min(e.idle, len(subs)) {
		e.more.Signal()
	}
	return own
}

// pop returns the next folder; nil when there is none and none will come.
func (e *engine) pop() *node {
	e.mu.Lock()
	defer e.mu.Unlock()
	for !e.halted {
		if last := len(e.groups) - 1; last >= 0 {
			g := e.groups[last]
			if len(g) > 1 {
				e.groups[last] = g[1:]
			} else {
				e.groups[last] = nil
				e.groups = e.groups[:last]
			}
			return &g[0]
		}
		e.busy--
		if e.busy == 0 {
			e.halted = true
			e.more.Broadcast()
			return nil
		}
		e.idle++
		e.more.Wait()
		e.idle--
		e.busy++
	}
	return nil
}
