package gui

import (
	"context"
	"errors"
	"runtime/debug"
	"sync"
	"time"

	"loadline/checks"
)

// pumpEvery is how often the window looks at a run. More often would only paint what nobody sees.
const pumpEvery = 100 * time.Millisecond

// numbersEvery is how often mere numbers are shown anew. Each time the whole window is drawn, which a
// laptop beside a copy of hours pays for.
const numbersEvery = 250 * time.Millisecond

// tidyFrom is how many findings a report has at least whose making leaves much memory behind.
const tidyFrom = 100_000

// runner runs the engine beside the window. The engine's goroutines only write into it; one pump
// carries what is new to the window and waits until it is shown, so that it can never pile up.
type runner struct {
	engine   Engine
	postWait func(func())

	mu     sync.Mutex
	events []checks.Event // checks that began or ended, not yet shown
	latest checks.Progress
	cancel context.CancelFunc

	lag time.Duration // longest wait for the window; read by the trace
}

// start runs a request. Step is called with what is new, and done once at the end, both on the
// goroutine of the user interface.
func (r *runner) start(req Request, step func([]checks.Event, checks.Progress), done func(*checks.Report, error)) {
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel = cancel
	ended := make(chan struct{})
	var rep *checks.Report
	var err error
	go func() {
		defer close(ended)
		rep, err = r.engine.Run(ctx, req, r.note)
	}()
	go func() {
		defer cancel()
		tick := time.NewTicker(pumpEvery)
		defer tick.Stop()
		var shown time.Time
		for over := false; !over; {
			select {
			case <-ended:
				over = true
			case <-tick.C:
			}
			if !over && time.Since(shown) < numbersEvery && !r.waits() {
				continue
			}
			events, p := r.drain()
			began := time.Now()
			shown = began
			r.postWait(func() {
				step(events, p)
				if over {
					done(rep, err)
				}
			})
			r.mu.Lock()
			r.lag = max(r.lag, time.Since(began))
			r.mu.Unlock()
		}
		if rep != nil && flagged(rep) > tidyFrom {
			debug.FreeOSMemory() // what making the report took as much again
		}
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
