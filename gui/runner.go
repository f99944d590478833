package gui

import (
	"context"
	"errors"
	"sync"
	"time"

	"loadline/checks"
)

// pumpEvery is how often the window looks at a run. More often would only paint what nobody sees.
const pumpEvery = 100 * time.Millisecond

// numbersEvery is how often mere numbers are shown anew. Each time the whole window is drawn, which a
// laptop beside a copy of hours pays for.
const numbersEvery = 250 * time.Millisecond

// pump has what is new shown until ended is closed, and a last time then. It waits until each is shown, so that it
// can never pile up. While due says no, nothing is new; nil: something always is.
func pump(postWait func(func()), every time.Duration, ended <-chan struct{}, due func() bool, show func(over bool)) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for over := false; !over; {
		select {
		case <-ended:
			over = true
		case <-tick.C:
		}
		if over || due == nil || due() {
			postWait(func() { show(over) })
		}
	}
}

// runner runs checks beside the window. Their goroutines only write into it; a pump carries what is new to the
// window.
type runner struct {
	postWait func(func())

	mu     sync.Mutex
	events []checks.Event // checks that began or ended, not yet shown
	latest checks.Progress
	cancel context.CancelFunc

	lag time.Duration // longest wait for the window; read by the trace
}

// start does work, which tells watch how far it is. Step is called with what is new, and done once at the end,
// both on the goroutine of the user interface.
func (r *runner) start(work func(ctx context.Context, watch func(checks.Event)) error, step func([]checks.Event, checks.Progress), done func(error)) {
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel = cancel
	ended := make(chan struct{})
	var err error
	go func() {
		defer close(ended)
		err = work(ctx, r.note)
	}()
	var shown time.Time
	timed := func(f func()) {
		shown = time.Now()
		r.postWait(f)
		r.mu.Lock()
		defer r.mu.Unlock()
		r.lag = max(r.lag, time.Since(shown))
	}
	go func() {
		defer cancel()
		pump(timed, pumpEvery, ended, func() bool { return time.Since(shown) >= numbersEvery || r.waits() }, func(over bool) {
			step(r.drain())
			if over {
				done(err)
			}
		})
	}()
}

// note takes an event from the engine.
func (r *runner) note(e checks.Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if e.Check != nil {
		r.events = append(r.events, e)
	}
	r.latest = e.Progress
}

// waits reports whether a check has begun or ended that is not shown yet.
func (r *runner) waits() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.events) > 0
}

func (r *runner) drain() ([]checks.Event, checks.Progress) {
	r.mu.Lock()
	defer r.mu.Unlock()
	ev := r.events
	r.events = nil
	return ev, r.latest
}

// longestWait returns the longest time so far that the window took to show one step.
func (r *runner) longestWait() time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.lag
}

func (r *runner) stop() {
	if r.cancel != nil {
		r.cancel()
	}
}

// stoppedErr reports whether a run ended because the person stopped it.
func stoppedErr(err error) bool { return errors.Is(err, context.Canceled) }
