package main

import (
	"sync"
	"time"

	"fyne.io/fyne/v2"
)

// A pacer is the loop of the toolkit, with rests. The loop of Fyne 2.7.4 looks for events sixty times a
// second whether anything happens or not (runGL), and a window at rest spends nearly all that it takes on
// being woken for it. So once nothing has happened for a while, the pacer queues a function that waits in
// the window system: the loop stands in it until an event comes, which is handled there as in any look,
// until something is posted, or until the nap is over and the loop has its turn.
//
// What the toolkit itself queues while the loop stands, such as a theme that the desktop has changed, waits
// for the end of the nap.
type pacer struct {
	queue func(f func())              // puts f in the loop's queue, from any goroutine
	wait  func(longest time.Duration) // on the loop: until an event comes, which it handles, or wake is called
	wake  func()                      // ends wait, or the next one; from any goroutine
	after func(d time.Duration, f func())
	now   func() time.Time

	mu       sync.Mutex
	queued   int       // functions that were posted and have not begun
	attended time.Time // when something happened last
	standing bool      // in wait
	woken    bool      // by something posted, since it stands
	rests    bool
	ended    bool
}

const (
	// attention is how long after an event or something posted the loop goes on as the toolkit has it. A
	// second press that makes a double one comes within it, and all that follows from a press.
	attention = time.Second
	// nap is the longest that the loop stands, and so the longest that anything of the toolkit waits.
	nap = 500 * time.Millisecond
	// turn is what the loop is left to itself between two naps: two looks at least.
	turn = 50 * time.Millisecond
	// early is by how much a nap may end before its time and still have been ended by nothing: clocks of some
	// systems are that coarse.
	early = 20 * time.Millisecond
)

// newPacer returns the pacer of a toolkit that is about to run its loop.
func newPacer() *pacer {
	return &pacer{
		queue: fyne.Do,
		wait:  waitForEvents,
		wake:  wakeUp,
		after: func(d time.Duration, f func()) { time.AfterFunc(d, f) },
		now:   time.Now,
	}
}

// Post implements gui.Loop.
func (p *pacer) Post(f func()) { p.post(f, true) }

// PostWait implements gui.Loop.
func (p *pacer) PostWait(f func()) {
	done := make(chan struct{})
	p.post(func() { defer close(done); f() }, true)
	<-done
}

// Glance implements gui.Loop.
func (p *pacer) Glance(f func()) { p.post(f, false) }

// Rests implements gui.Loop.
func (p *pacer) Rests() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.rests && p.queued == 0
}

func (p *pacer) post(f func(), happens bool) {
	p.mu.Lock()
	p.queued++
	if happens {
		p.attended, p.rests = p.now(), false
	}
	if p.standing && !p.woken {
		p.woken = true
		p.wake() // under the lock: the loop cannot leave wait, and end, before
	}
	p.mu.Unlock()
	p.queue(func() {
		p.mu.Lock()
		p.queued--
		p.mu.Unlock()
		f()
	})
}

// start begins to look for times of rest.
func (p *pacer) start() {
	p.mu.Lock()
	p.attended = p.now()
	p.mu.Unlock()
	p.next(attention)
}

// end has the loop stand no more. Call it on the loop.
func (p *pacer) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ended, p.rests = true, false
}

func (p *pacer) next(d time.Duration) {
	p.after(d, func() { p.queue(p.rest) })
}

// rest lets the loop stand, if nothing stands against it. It runs on the loop.
func (p *pacer) rest() {
	p.mu.Lock()
	began := p.now()
	left := attention - began.Sub(p.attended)
	switch {
	case p.ended:
		p.mu.Unlock()
		return
	case left > 0 || p.queued > 0:
		p.mu.Unlock()
		p.next(max(left, turn))
		return
	}
	p.standing, p.woken, p.rests = true, false, true
	p.mu.Unlock()

	p.wait(nap)

	p.mu.Lock()
	p.standing = false
	if now := p.now(); !p.woken && now.Sub(began) < nap-early {
		p.attended, p.rests = now, false
	}
	left = attention - p.now().Sub(p.attended)
	p.mu.Unlock()
	p.next(max(left, turn))
}
