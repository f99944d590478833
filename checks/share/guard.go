package share

import (
	"context"
	"errors"
	"io"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// mostHanging is how many calls may hang at a time. Each pins one thread of the system until it
// comes back, which on a hard mount may be never (common practice, no source).
const mostHanging = 8

// calls counts the calls to shares of the whole process.
var calls = &limiter{most: mostHanging}

// A limiter hands out a bounded number of places for calls that may hang. Its waiters wait on
// channels of their own, so that a place can be waited for inside a synctest bubble.
type limiter struct {
	mu      sync.Mutex
	most    int
	running int // places taken, those of hanging calls included
	hanging int // places whose callers have gone
	waiters []chan struct{}
}

// enter takes a place, waiting for one at most until the deadline. Where every place is taken by a
// call that hangs it does not wait at all.
func (l *limiter) enter(ctx context.Context, deadline time.Duration) error {
	l.mu.Lock()
	if l.running < l.most {
		l.running++
		l.mu.Unlock()
		return nil
	}
	if l.hanging >= l.most {
		l.mu.Unlock()
		return ErrBusy
	}
	turn := make(chan struct{}, 1)
	l.waiters = append(l.waiters, turn)
	l.mu.Unlock()

	timer := time.NewTimer(deadline)
	defer timer.Stop()
	var err error
	select {
	case <-turn:
		return nil
	case <-ctx.Done():
		err = ctx.Err()
	case <-timer.C:
		err = ErrBusy
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if i := slices.Index(l.waiters, turn); i >= 0 {
		l.waiters = slices.Delete(l.waiters, i, i+1)
		return err
	}
	l.pass() // the place came at the same moment: hand it on
	return err
}

// leave gives a place back. abandoned says whether its caller had gone.
func (l *limiter) leave(abandoned bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if abandoned {
		l.hanging--
	}
	l.pass()
}

// pass hands a place to the next waiter or frees it. l.mu is held.
func (l *limiter) pass() {
	if len(l.waiters) > 0 {
		l.waiters[0] <- struct{}{}
		l.waiters = l.waiters[1:]
		return
	}
	l.running--
}

// abandon notes that the caller of a running call has gone.
func (l *limiter) abandon() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hanging++
}

// Guard runs f, a call that may touch a share, and waits for it no longer than deadline: then it
// returns ErrSilent, or ctx.Err() as soon as ctx is cancelled, while f goes on in a goroutine of
// its own until the system lets it return. At most eight calls run at a time in the whole process;
// where all of them hang Guard returns ErrBusy. A value that comes too late is closed if it is an
// io.Closer. deadline 0 means DefaultDeadline.
func Guard[T any](ctx context.Context, deadline time.Duration, f func() (T, error)) (T, error) {
	return guard(ctx, calls, deadline, f)
}

// Call is Guard for a call that returns nothing but an error.
func Call(ctx context.Context, deadline time.Duration, f func() error) error {
	_, err := Guard(ctx, deadline, func() (struct{}, error) { return struct{}{}, f() })
	return err
}

// Silent reports whether an error says that a place does not respond.
func Silent(err error) bool { return errors.Is(err, ErrSilent) || errors.Is(err, ErrBusy) }

// GuardSteps is Guard for an f that makes many calls, one after the other: deadline is how long one of them
// may take. f calls step after each.
func GuardSteps[T any](ctx context.Context, deadline time.Duration, f func(step func()) (T, error)) (T, error) {
	return guardSteps(ctx, calls, deadline, f)
}

func guard[T any](ctx context.Context, l *limiter, deadline time.Duration, f func() (T, error)) (T, error) {
	return guardSteps(ctx, l, deadline, func(func()) (T, error) { return f() })
}

func guardSteps[T any](ctx context.Context, l *limiter, deadline time.Duration, f func(step func()) (T, error)) (T, error) {
	var none T
	if deadline <= 0 {
		deadline = DefaultDeadline
	}
	if err := ctx.Err(); err != nil {
		return none, err
	}
	if err := l.enter(ctx, deadline); err != nil {
		return none, err
	}
	var (
		mu        sync.Mutex
		ended     bool
		abandoned bool
		value     T
		err       error
	)
	done := make(chan struct{})
	var steps atomic.Int64
	go func() {
		v, e := f(func() { steps.Add(1) })
		mu.Lock()
		ended, value, err = true, v, e
		late := abandoned
		mu.Unlock()
		if late {
			if c, ok := any(v).(io.Closer); ok && e == nil {
				_ = c.Close() // nobody is left to be told
			}
		}
		l.leave(late)
		close(done)
	}()

	timer := time.NewTimer(deadline)
	defer timer.Stop()
	why := ErrSilent
	for heard := int64(0); ; {
		select {
		case <-done:
			return value, err
		case <-ctx.Done():
			why = ctx.Err()
		case <-timer.C:
			if now := steps.Load(); now > heard {
				heard = now
				timer.Reset(deadline)
				continue
			}
		}
		break
	}
	mu.Lock()
	defer mu.Unlock()
	if ended {
		return value, err
	}
	abandoned = true
	l.abandon()
	return none, why
}
