package walk

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
)

// A fake is a file system that hangs where a test wants it to. Its folders are numbered: folder n
// has the subfolders 2n+1 and 2n+2, as far as there are so many.
type fake struct {
	folders  int
	hang     chan struct{} // folders numbered 1 and up are not listed until it is closed
	look     chan struct{} // closer looks do not return until it is closed
	looking  chan struct{} // told of each closer look
	released atomic.Int32
	listed   atomic.Int32
	dropped  atomic.Int32
	closed   atomic.Int32
}

func (f *fake) lister() lister { return &fakeLister{f: f} }
func (f *fake) drop(*node)     { f.dropped.Add(1) }
func (f *fake) close()         { f.closed.Add(1) }

type fakeLister struct {
	f      *fake
	isOpen bool
}

func (l *fakeLister) done() {
	if l.isOpen {
		l.isOpen = false
		l.f.released.Add(1)
	}
}

func (l *fakeLister) list(n *node, w *worker) (subs []node) {
	l.isOpen = true
	l.f.listed.Add(1)
	var number int
	if _, err := fmt.Sscan(n.name, &number); err == nil && l.f.hang != nil {
		<-l.f.hang
	}
	w.dir.at = l
	for i := 2*number + 1; i <= 2*number+2 && i < l.f.folders; i++ {
		name := fmt.Sprint(i)
		w.dir.Entries = append(w.dir.Entries, Entry{Name: name, Kind: Folder})
		subs = append(subs, child(n, &w.dir.Entries[len(w.dir.Entries)-1], 1))
	}
	return subs
}

func (l *fakeLister) stall() {
	l.f.looking <- struct{}{}
	<-l.f.look
}

func (l *fakeLister) readlink(string) (string, error) { l.stall(); return "", nil }
func (l *fakeLister) head(string, []byte) (int, error) {
	l.stall()
	return 0, nil
}
func (l *fakeLister) access(*Entry) error             { l.stall(); return nil }
func (l *fakeLister) xattrs(string) ([]string, error) { l.stall(); return nil, nil }

// The tests below run in bubbles: synctest.Test does not end while a goroutine of the walk is
// left, and waiting takes no time.

func TestCancelWhileListingHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{folders: 1000, hang: make(chan struct{})}
		ctx, cancel := context.WithCancel(context.Background())
		var visits atomic.Int32
		over := make(chan error)
		go func() {
			over <- run(ctx, Options{Workers: 3, Visit: func(*Dir) { visits.Add(1) }}, f)
		}()
		synctest.Wait() // the root is visited, two workers hang, one waits
		if n := visits.Load(); n != 1 {
			t.Errorf("%d visits", n)
		}
		cancel()
		if err := <-over; !errors.Is(err, context.Canceled) {
			t.Errorf("error %v", err)
		}
		if f.closed.Load() != 0 {
			t.Error("closed while workers hang")
		}
		close(f.hang) // the system lets them go
		synctest.Wait()
		if n := visits.Load(); n != 1 {
			t.Errorf("%d visits after Walk had returned", n-1)
		}
		if f.closed.Load() != 1 || f.released.Load() != f.listed.Load() {
			t.Errorf("closed %d times, %d of %d folders released", f.closed.Load(), f.released.Load(), f.listed.Load())
		}
	})
}

// TestCancelWhileLooking cancels while every visitor hangs in a closer look: Walk returns, and the
// visits never go on.
func TestCancelWhileLooking(t *testing.T) {
	for name, call := range map[string]func(d *Dir){
		"Readlink": func(d *Dir) { _, _ = d.Readlink("x") },
		"Head":     func(d *Dir) { _, _ = d.Head("x", make([]byte, 4)) },
		"Access":   func(d *Dir) { _ = d.Access("x") },
		"Xattrs":   func(d *Dir) { _, _ = d.Xattrs("x") },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := &fake{folders: 1000, look: make(chan struct{}), looking: make(chan struct{}, 9)}
				ctx, cancel := context.WithCancel(context.Background())
				var on, deferred atomic.Int32
				over := make(chan error)
				go func() {
					over <- run(ctx, Options{Workers: 3, Visit: func(d *Dir) {
						defer deferred.Add(1)
						call(d)
						on.Add(1)
					}}, f)
				}()
				synctest.Wait()
				if n := len(f.looking); n != 3 {
					t.Errorf("%d visitors look, want 3", n)
				}
				cancel()
				if err := <-over; err != context.Canceled { //nolint:errorlint // nothing more is said
					t.Errorf("error %v", err)
				}
				close(f.look)
				synctest.Wait()
				if on.Load() != 0 || deferred.Load() != 3 {
					t.Errorf("%d visits went on, %d ended", on.Load(), deferred.Load())
				}
				if f.closed.Load() != 1 || f.released.Load() != f.listed.Load() {
					t.Errorf("closed %d times, %d of %d folders released", f.closed.Load(), f.released.Load(), f.listed.Load())
				}
			})
		})
	}
}

// TestCancelWaitsForVisits: what a visitor has written may be read once Walk has returned.
func TestCancelWaitsForVisits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{folders: 1000}
		ctx, cancel := context.WithCancel(context.Background())
		goOn := make(chan struct{})
		shards := make([]int, 3)
		over := make(chan error)
		go func() {
			over <- run(ctx, Options{Workers: 3, Visit: func(d *Dir) {
				<-goOn
				shards[d.Worker]++ // the race detector watches
			}}, f)
		}()
		synctest.Wait()
		cancel()
		synctest.Wait()
		select {
		case err := <-over:
			t.Fatalf("did not wait: %v", err)
		default:
		}
		close(goOn)
		if err := <-over; err != context.Canceled { //nolint:errorlint // nothing more is said
			t.Errorf("error %v", err)
		}
		if shards[0]+shards[1]+shards[2] != 3 {
			t.Errorf("visits %v", shards)
		}
	})
}

func TestCancelGivesUpAVisit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{folders: 1000}
		ctx, cancel := context.WithCancel(context.Background())
		never := make(chan struct{})
		defer close(never)
		over := make(chan error)
		go func() {
			over <- run(ctx, Options{Workers: 3, Visit: func(*Dir) { <-never }}, f)
		}()
		synctest.Wait()
		cancel()
		if err := <-over; !errors.Is(err, context.Canceled) || !errors.Is(err, ErrVisiting) {
			t.Errorf("error %v", err)
		}
	})
}

// TestVisitorEndsItsGoroutine is what t.FailNow in a visitor does.
func TestVisitorEndsItsGoroutine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		err := run(context.Background(), Options{Workers: 3, Visit: func(d *Dir) {
			if d.Path == "1/3" {
				runtime.Goexit()
			}
		}}, &fake{folders: 1000})
		if !errors.Is(err, errGone) {
			t.Errorf("error %v", err)
		}
	})
}

func TestCancelledBefore(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := Walk(ctx, t.TempDir(), Options{Visit: func(*Dir) { t.Error("visited") }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// TestCancelAnywhere cancels in every visit in turn, on a real tree.
func TestCancelAnywhere(t *testing.T) {
	tr := tree{}
	for i := range 60 {
		tr[fmt.Sprintf("%d/%d/%d/f", i%3, i%7, i)] = ""
	}
	root := tr.make(t)
	before := openFiles(t)
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			for workers := 1; workers <= 8; workers *= 2 {
				for stop := int32(1); stop < 90; stop += 7 {
					synctest.Test(t, func(t *testing.T) {
						ctx, cancel := context.WithCancel(context.Background())
						defer cancel()
						var visits atomic.Int32
						var over atomic.Bool
						shards := make([]int, workers)
						err := run(ctx, Options{Workers: workers, Visit: func(d *Dir) {
							if over.Load() {
								t.Error("a visit after Walk has returned")
							}
							if visits.Add(1) == stop {
								cancel()
							}
							for i := range d.Entries {
								_, _ = d.Xattrs(d.Entries[i].Name)
							}
							shards[d.Worker]++
						}}, sys(root))
						over.Store(true)
						sum := 0
						for _, n := range shards {
							sum += n
						}
						switch {
						case err == nil && sum != 85: // 1 + 3 + 21 + 60
							t.Errorf("%d visits, no error", sum)
						case err != nil && !errors.Is(err, context.Canceled):
							t.Errorf("error %v", err)
						}
					})
				}
			}
		})
	}
	if after := openFiles(t); after > before {
		t.Errorf("%d files open before, %d after", before, after)
	}
}

// TestOrder: what was found last is read first, and the first worker takes the first subfolder.
func TestOrder(t *testing.T) {
	var got []string
	var mu sync.Mutex
	err := run(context.Background(), Options{Workers: 1, Visit: func(d *Dir) {
		mu.Lock()
		defer mu.Unlock()
		got = append(got, d.Path)
	}}, &fake{folders: 7})
	want := "[ 1 1/3 1/4 2 2/5 2/6]"
	if err != nil || fmt.Sprint(got) != want {
		t.Errorf("%v, %v, want %s", err, got, want)
	}
}
