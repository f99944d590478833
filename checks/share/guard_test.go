package share

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

func TestGuard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &limiter{most: mostHanging}
		v, err := guard(t.Context(), l, time.Second, func() (int, error) { return 7, nil })
		if v != 7 || err != nil {
			t.Errorf("an answer: %v, %v", v, err)
		}
		own := errors.New("own")
		if _, err := guard(t.Context(), l, time.Second, func() (int, error) { return 0, own }); err != own {
			t.Errorf("an error: %v", err)
		}
		hang := make(chan struct{})
		start := time.Now()
		_, err = guard(t.Context(), l, time.Second, func() (int, error) { <-hang; return 1, nil })
		if err != ErrSilent || time.Since(start) != time.Second {
			t.Errorf("a hanging call: %v after %v", err, time.Since(start))
		}
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Millisecond, cancel)
		start = time.Now()
		_, err = guard(ctx, l, time.Hour, func() (int, error) { <-hang; return 1, nil })
		if err != context.Canceled || time.Since(start) != time.Millisecond {
			t.Errorf("a cancelled call: %v after %v", err, time.Since(start))
		}
		if _, err = guard(ctx, l, time.Hour, func() (int, error) { t.Error("called"); return 1, nil }); err != context.Canceled {
			t.Errorf("cancelled before: %v", err)
		}
		for range mostHanging - 2 {
			_, _ = guard(t.Context(), l, time.Second, func() (int, error) { <-hang; return 1, nil })
		}
		start = time.Now()
		_, err = guard(t.Context(), l, time.Second, func() (int, error) { t.Error("called"); return 1, nil })
		if err != ErrBusy || time.Since(start) != 0 {
			t.Errorf("with %d hanging: %v after %v", mostHanging, err, time.Since(start))
		}
		close(hang)
		synctest.Wait()
		if l.running != 0 || l.hanging != 0 || len(l.waiters) != 0 {
			t.Errorf("left: %+v", l)
		}
	})
}

// Many calls in one: as long as each is in time, all of them may take as long as they like. One that hangs is
// left within two deadlines, for it may have begun just after the first.
func TestGuardSteps(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &limiter{most: 1}
		start := time.Now()
		v, err := guardSteps(t.Context(), l, time.Second, func(step func()) (int, error) {
			for range 100 {
				<-time.After(900 * time.Millisecond)
				step()
			}
			return 7, nil
		})
		if v != 7 || err != nil || time.Since(start) != 90*time.Second {
			t.Errorf("a hundred steps: %v, %v after %v", v, err, time.Since(start))
		}
		hang := make(chan struct{})
		start = time.Now()
		_, err = guardSteps(t.Context(), l, time.Second, func(step func()) (int, error) {
			<-time.After(900 * time.Millisecond)
			step()
			<-hang
			return 0, nil
		})
		if err != ErrSilent || time.Since(start) != 2*time.Second {
			t.Errorf("hanging after a step: %v after %v", err, time.Since(start))
		}
		close(hang)
		synctest.Wait()
		if l.running != 0 || l.hanging != 0 {
			t.Errorf("left: %+v", l)
		}
	})
}

type closer struct{ closed *atomic.Int64 }

func (c closer) Close() error { c.closed.Add(1); return nil }

// A file that is opened too late is closed.
func TestGuardClosesWhatComesTooLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var closed atomic.Int64
		hang := make(chan struct{})
		_, err := guard(t.Context(), &limiter{most: 1}, time.Second, func() (closer, error) { <-hang; return closer{&closed}, nil })
		close(hang)
		synctest.Wait()
		if err != ErrSilent || closed.Load() != 1 {
			t.Errorf("%v, closed %d times", err, closed.Load())
		}
	})
}

// More callers than places: all are served, never more than eight at a time.
func TestGuardManyCallers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &limiter{most: mostHanging}
		var now, most atomic.Int64
		var wg sync.WaitGroup
		for i := range 100 {
			wg.Go(func() {
				_, err := guard(t.Context(), l, time.Minute, func() (int, error) {
					for n := now.Add(1); ; {
						if m := most.Load(); n <= m || most.CompareAndSwap(m, n) {
							break
						}
					}
					<-time.After(time.Duration(i%7) * time.Millisecond)
					now.Add(-1)
					return 0, nil
				})
				if err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if most.Load() != mostHanging || l.running != 0 || l.hanging != 0 {
			t.Errorf("at most %d at a time, left %+v", most.Load(), l)
		}
	})
}

// Waiting callers give up at their deadline or when they are cancelled, and are then not counted.
func TestGuardWaiters(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &limiter{most: 1}
		hang := make(chan struct{})
		go func() {
			_, _ = guard(context.Background(), l, time.Hour, func() (int, error) { <-hang; return 0, nil })
		}()
		synctest.Wait()
		if _, err := guard(t.Context(), l, time.Second, func() (int, error) { return 0, nil }); err != ErrBusy {
			t.Errorf("waiting too long: %v", err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		if _, err := guard(ctx, l, time.Minute, func() (int, error) { return 0, nil }); err != context.Canceled {
			t.Errorf("cancelled while waiting: %v", err)
		}
		close(hang)
		synctest.Wait()
		if v, err := guard(t.Context(), l, time.Second, func() (int, error) { return 5, nil }); v != 5 || err != nil {
			t.Errorf("afterwards: %v %v", v, err)
		}
		if l.running != 0 || len(l.waiters) != 0 {
			t.Errorf("left: %+v", l)
		}
	})
}

// A worker that is told to stop tidies up; one that hangs is left behind within a quarter second.
func TestWatch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var tidied atomic.Bool
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		start := time.Now()
		err := watch(ctx, time.Minute, func(w *worker) error {
			for {
				if err := w.call("working", func() error { <-time.After(100 * time.Millisecond); return nil }); err != nil {
					_ = w.tidy("tidying", func() error { <-time.After(200 * time.Millisecond); tidied.Store(true); return nil })
					return err
				}
			}
		})
		if !errors.Is(err, context.Canceled) || !tidied.Load() || time.Since(start) > 1400*time.Millisecond {
			t.Errorf("stopped: %v, tidied %v, after %v", err, tidied.Load(), time.Since(start))
		}

		hang := make(chan struct{})
		ctx, cancel = context.WithCancel(t.Context())
		time.AfterFunc(time.Second, cancel)
		start = time.Now()
		err = watch(ctx, time.Minute, func(w *worker) error {
			w.at("/somewhere")
			return w.call("hanging", func() error { <-hang; return nil })
		})
		if !errors.Is(err, context.Canceled) || time.Since(start) > time.Second+2*stopCall {
			t.Errorf("stopped while hanging: %v after %v", err, time.Since(start))
		}

		start = time.Now()
		err = watch(t.Context(), 3*time.Second, func(w *worker) error {
			if err := w.call("one", func() error { <-time.After(2 * time.Second); return nil }); err != nil {
				return err
			}
			return w.call("two", func() error { <-hang; return nil })
		})
		if !errors.Is(err, ErrSilent) || time.Since(start) < 5*time.Second || time.Since(start) > 8*time.Second {
			t.Errorf("hanging: %v after %v", err, time.Since(start))
		}
		close(hang)
		synctest.Wait()
	})
}
