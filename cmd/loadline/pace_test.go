//go:build linux

package main

import (
	"slices"
	"testing"
	"time"
)

// loopRig is a toolkit's loop that the test turns, with a clock of its own.
type loopRig struct {
	*pacer
	t      *testing.T
	clock  time.Time
	queued []func()
	timers []func()
	waits  []time.Duration // what the next timers were asked for
	naps   int
	woken  int
	// during is what happens while the loop stands; nil lets the nap pass.
	during func()
}

func newLoopRig(t *testing.T) *loopRig {
	r := &loopRig{t: t, clock: time.Unix(1_800_000_000, 0)}
	r.pacer = &pacer{
		queue: func(f func()) { r.queued = append(r.queued, f) },
		wait: func(longest time.Duration) {
			r.naps++
			if longest != nap {
				t.Errorf("it stands for up to %v", longest)
			}
			if r.during == nil {
				r.clock = r.clock.Add(longest)
				return
			}
			r.clock = r.clock.Add(100 * time.Millisecond)
			r.during()
		},
		wake: func() { r.woken++ },
		after: func(d time.Duration, f func()) {
			r.waits = append(r.waits, d)
			r.timers = append(r.timers, func() { r.clock = r.clock.Add(d); f() })
		},
		now: func() time.Time { return r.clock },
	}
	return r
}

// turn runs what is queued, and says how long the pacer leaves the loop to itself then.
func (r *loopRig) turn() time.Duration {
	r.t.Helper()
	for len(r.queued) > 0 {
		f := r.queued[0]
		r.queued = r.queued[1:]
		f()
	}
	if len(r.timers) != 1 {
		r.t.Fatalf("%d timers run, want one", len(r.timers))
	}
	return r.waits[len(r.waits)-1]
}

// pass lets the timer end.
func (r *loopRig) pass() {
	f := r.timers[0]
	r.timers = r.timers[1:]
	f()
}

func TestPacer(t *testing.T) {
	r := newLoopRig(t)
	r.start()
	if d := r.turn(); d != attention || r.naps != 0 || r.Rests() {
		t.Fatalf("after the start %v, %d naps, rests %v", d, r.naps, r.Rests())
	}

	// Nothing happens: it naps, has a turn, naps again.
	for i := range 3 {
		r.pass()
		if d := r.turn(); d != turn || r.naps != i+1 || !r.Rests() {
			t.Fatalf("at rest: %v, %d naps, rests %v", d, r.naps, r.Rests())
		}
	}

	// An event ends the nap: the loop is the toolkit's own for a while.
	r.during = func() {}
	r.pass()
	if d := r.turn(); d != attention || r.Rests() {
		t.Errorf("after an event %v, rests %v", d, r.Rests())
	}
	r.during = nil
	r.pass()
	if d := r.turn(); d != turn || r.naps != 5 {
		t.Errorf("a while after an event: %v, %d naps", d, r.naps)
	}

	// Something posted wakes it once, runs, and counts as something that happens.
	ran := 0
	r.during = func() {
		r.Post(func() { ran++ })
		r.Post(func() { ran++ })
		if r.Rests() {
			t.Error("it rests with something posted")
		}
	}
	r.pass()
	if d := r.turn(); d != attention || ran != 2 || r.woken != 1 {
		t.Errorf("after two posts %v, %d ran, woken %d times", d, ran, r.woken)
	}

	// What is posted while it is awake puts the rest off, and needs no waking.
	r.during = nil
	r.clock = r.clock.Add(attention / 2) // half of the wait is over
	r.Post(func() { ran++ })
	r.clock = r.clock.Add(-attention / 2)
	r.pass()
	if d := r.turn(); d != attention/2 || ran != 3 || r.naps != 6 || r.woken != 1 {
		t.Errorf("after a post %v, %d ran, %d naps, woken %d times", d, ran, r.naps, r.woken)
	}

	// A glance wakes it and is no reason to stay awake.
	r.pass()
	r.turn()
	r.during = func() { r.Glance(func() { ran++ }) }
	r.pass()
	if d := r.turn(); d != turn || ran != 4 || r.woken != 2 || !r.Rests() {
		t.Errorf("after a glance %v, %d ran, woken %d times, rests %v", d, ran, r.woken, r.Rests())
	}

	// What was posted as the loop was about to stand is run first.
	r.during = nil
	naps := r.naps
	r.pass()
	r.queued = append([]func(){func() { r.Glance(func() { ran++ }) }}, r.queued...)
	if d := r.turn(); d != turn || ran != 5 || r.naps != naps {
		t.Errorf("with something in the queue %v, %d ran, %d naps more", d, ran, r.naps-naps)
	}

	// After the end it stands no more.
	r.end()
	r.pass()
	for len(r.queued) > 0 {
		f := r.queued[0]
		r.queued = slices.Delete(r.queued, 0, 1)
		f()
	}
	if len(r.timers) != 0 || r.naps != naps || r.Rests() {
		t.Errorf("after the end: %d timers, %d naps more, rests %v", len(r.timers), r.naps-naps, r.Rests())
	}
}

// A clock that ends naps a little early does not look like an event.
func TestPacerCoarseClock(t *testing.T) {
	r := newLoopRig(t)
	r.start()
	r.turn()
	r.wait = func(longest time.Duration) { r.clock = r.clock.Add(longest - early/2) }
	r.pass()
	if d := r.turn(); d != turn || !r.Rests() {
		t.Errorf("after a nap that ended early %v, rests %v", d, r.Rests())
	}
}

func TestPacerPostWait(t *testing.T) {
	r := newLoopRig(t)
	queue := make(chan func())
	r.queue = func(f func()) { queue <- f }
	go func() { (<-queue)() }()
	ran := false
	r.PostWait(func() { ran = true })
	if !ran {
		t.Error("it returned before the function had run")
	}
}
