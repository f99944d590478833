package arrival

import (
	"sync"
	"time"

	"loadline/checks"
)

// A teller passes events on, one at a time, and tells of progress ten times a second.
type teller struct {
	mu    sync.Mutex
	watch func(checks.Event)
	now   func() checks.Progress
	quit  chan struct{}
	done  chan struct{}
}

func (a *arrival) pump(watch func(checks.Event)) *teller {
	t := &teller{watch: watch, now: a.progress, quit: make(chan struct{}), done: make(chan struct{})}
	go func() {
		defer close(t.done)
		tick := time.NewTicker(100 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-t.quit:
				return
			case <-tick.C:
				t.event(checks.Event{})
			}
		}
	}()
	return t
}

func (t *teller) event(e checks.Event) {
	t.mu.Lock()
	defer t.mu.Unlock()
	e.Progress = t.now()
	t.watch(e)
}

func (t *teller) stop() { close(t.quit); <-t.done }

// passes is how often the listings are usually read, for the estimate of what is left.
const passes = 2

func (a *arrival) progress() checks.Progress {
	p := checks.Progress{Elapsed: time.Since(a.began), Entries: a.rows.Load(), Done: -1, Left: -1}
	if phase := a.phase.Load(); phase != nil {
		p.Phase = *phase
	}
	if per := a.perPass.Load(); per > 0 {
		p.Done = min((float64(a.passed.Load())+float64(a.rows.Load())/float64(per))/passes, 0.99)
		if p.Done > 0.1 {
			p.Left = time.Duration(float64(p.Elapsed) * (1 - p.Done) / p.Done)
		}
	}
	return p
}
