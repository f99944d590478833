package share

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// How long a worker that was told to stop may take to tidy up before its caller goes without it.
const (
	stopCall  = 250 * time.Millisecond // one call longer than this is taken for one that hangs
	stopTotal = 2 * time.Second
)

// errStopped ends a worker whose caller wants no more of it. It never leaves the package.
var errStopped = errors.New("stopped")

// A worker does many calls in a goroutine of its own, one at a time, while its caller watches that
// none of them takes too long. A worker whose caller has gone ends with the call that it hangs in,
// and tidies up behind itself if that call ever returns.
type worker struct {
	mu    sync.Mutex
	doing string // what goes on, in words that follow "while"
	since time.Time
	busy  bool // a call runs
	stop  bool // no new calls but those that tidy up
	place string

	overdue <-chan struct{} // see Wishes
}

// call does one call to the file system, unless the worker was told to stop.
func (w *worker) call(doing string, f func() error) error {
	w.mu.Lock()
	if w.stop {
		w.mu.Unlock()
		return errStopped
	}
	w.begin(doing)
	defer w.end()
	return f()
}

// tidy does one call to the file system even where the worker was told to stop.
func (w *worker) tidy(doing string, f func() error) error {
	w.mu.Lock()
	w.begin(doing)
	defer w.end()
	return f()
}

// begin notes the call; w.mu is held and released.
func (w *worker) begin(doing string) {
	w.doing, w.since, w.busy = doing, time.Now(), true
	w.mu.Unlock()
}

func (w *worker) end() {
	w.mu.Lock()
	w.busy = false
	w.mu.Unlock()
}

// at notes what is on the share while the worker works, "" nothing.
func (w *worker) at(place string) {
	w.mu.Lock()
	w.place = place
	w.mu.Unlock()
}

// left is what is on the share, "" nothing.
func (w *worker) left() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.place
}

// watch runs f in a goroutine of its own and waits for it. It returns f's error; or an error that
// wraps ErrSilent as soon as one call takes longer than deadline, ctx.Err() soon after ctx is
// cancelled. Where it goes before f has ended, the error names what may still be on the share.
func watch(ctx context.Context, deadline time.Duration, f func(*worker) error) error {
	return new(worker).watch(ctx, deadline, f)
}

func (w *worker) watch(ctx context.Context, deadline time.Duration, f func(*worker) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := calls.enter(ctx, deadline); err != nil {
		return err
	}
	var (
		mu    sync.Mutex
		ended bool
		gone  bool
		err   error
	)
	done := make(chan struct{})
	go func() {
		e := f(w)
		mu.Lock()
		ended, err = true, e
		late := gone
		mu.Unlock()
		calls.leave(late)
		close(done)
	}()

	timer := time.NewTimer(deadline)
	defer timer.Stop()
	cancelled, overdue := ctx.Done(), w.overdue
	var since time.Time // when ctx was cancelled
	for {
		select {
		case <-done:
			if errors.Is(err, errStopped) {
				return ctx.Err()
			}
			return err
		case <-cancelled:
			cancelled, since = nil, time.Now()
			w.mu.Lock()
			w.stop = true
			w.mu.Unlock()
		case <-overdue:
			overdue, deadline = nil, 0
		case <-timer.C:
		}
		w.mu.Lock()
		left := deadline
		if w.busy {
			left -= time.Since(w.since)
		}
		if !since.IsZero() {
			left = stopTotal - time.Since(since)
			if w.busy {
				left = min(left, stopCall-time.Since(later(w.since, since)))
			}
			left = max(left, 0)
			if left > 0 {
				left = min(left, stopCall)
			}
		}
		doing, place := w.doing, w.place
		if left <= 0 {
			w.stop = true
		}
		w.mu.Unlock()
		if left > 0 {
			timer.Reset(left)
			continue
		}
		mu.Lock()
		if ended { // at the last moment
			mu.Unlock()
			<-done
			if errors.Is(err, errStopped) {
				return ctx.Err()
			}
			return err
		}
		gone = true
		calls.abandon()
		mu.Unlock()
		why := ErrSilent
		if !since.IsZero() {
			why = ctx.Err()
		}
		if place != "" {
			return fmt.Errorf("%w (%s); the trial folder %q may be left there, and the next check will find it", why, doing, place)
		}
		return fmt.Errorf("%w (%s)", why, doing)
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
