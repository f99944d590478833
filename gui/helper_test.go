package gui

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/gui/kit"
)

// rig is a window on Fyne's test driver with a stand-in for engine and desktop. What other
// goroutines want to do to the window waits in posts until the test lets it happen, on its own
// goroutine: the test decides the order, and the race detector sees every slip.
type rig struct {
	*Window
	t      testing.TB
	closed bool
	posts  chan func()
	engine *script

	mu        sync.Mutex
	timers    map[int]func()
	timer     int
	chosen    string // what the next dialog answers
	chooseTo  error
	revealed  []string
	revealed1 error
	notes     []string
	copied    string
	clock     time.Time
}

// script is an engine whose run the test plays by hand.
type script struct {
	calls chan *call
}

// call is one run of the engine, held until the test ends it.
type call struct {
	ctx   context.Context
	req   Request
	watch func(checks.Event)
	end   chan ending
}

type ending struct {
	rep *checks.Report
	err error
}

func (s *script) list(st checks.Stage) []*checks.Check { return sampleChecks[st] }

func (s *script) run(ctx context.Context, r Request, watch func(checks.Event)) (*checks.Report, error) {
	c := &call{ctx: ctx, req: r, watch: watch, end: make(chan ending, 1)}
	s.calls <- c
	select {
	case e := <-c.end:
		return e.rep, e.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// posts is a loop whose functions run when the test lets them.
type posts chan func()

func (p posts) Post(f func()) { p <- f }

func (p posts) PostWait(f func()) {
	done := make(chan struct{})
	p <- func() { f(); close(done) }
	<-done
}

func (p posts) Glance(f func()) { p.Post(f) }
func (p posts) Rests() bool     { return false }

// newRig opens a window of the given size and mode. All windows are of the one app that the package
// test begins with: for another the toolkit would read all fonts and measure all texts again.
func newRig(t testing.TB, w, h float32, m kit.Mode) *rig {
	t.Helper()
	r := &rig{t: t, timers: map[int]func(){}, posts: make(chan func(), 1024), engine: &script{calls: make(chan *call, 8)}, clock: time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)}
	d := Desktop{
		Loop: posts(r.posts),
		After: func(_ time.Duration, f func()) func() {
			r.mu.Lock()
			defer r.mu.Unlock()
			r.timer++
			id := r.timer
			r.timers[id] = f
			return func() {
				r.mu.Lock()
				defer r.mu.Unlock()
				delete(r.timers, id)
			}
		},
		Choose: r.choose,
		Reveal: func(p string) error { r.revealed = append(r.revealed, p); return r.revealed1 },
		Notify: func(title, text string) { r.notes = append(r.notes, title+"\n"+text) },
		Copy:   func(s string) { r.copied = s },
		Now:    func() time.Time { r.mu.Lock(); defer r.mu.Unlock(); return r.clock },

		StateDir: t.TempDir(), ReportDir: t.TempDir(), Version: "test",
	}
	win := test.NewWindow(nil)
	win.SetOnClosed(func() { r.closed = true })
	t.Cleanup(func() {
		if !r.closed {
			win.Close()
		}
	})
	if err := (choices{Theme: m}).save(d.StateDir); err != nil {
		t.Fatal(err)
	}
	r.Window = New(win, Engine{List: r.engine.list, Run: r.engine.run}, d)
	t.Cleanup(r.writes.Wait) // before its folder is removed
	win.Resize(fyne.NewSize(w, h))
	r.probes.cancel = nil
	return r
}

func (r *rig) choose(_, _ string, _ bool, done func(string, error)) { done(r.chosen, r.chooseTo) }

// waiting is how many timers wait.
func (r *rig) waiting() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.timers)
}

// fire runs the timers that wait.
func (r *rig) fire() {
	r.mu.Lock()
	fs := r.timers
	r.timers = map[int]func(){}
	r.mu.Unlock()
	for _, f := range fs {
		f()
	}
}

// until lets posted work happen until something holds.
func (r *rig) until(what string, is func() bool) {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for !is() {
		select {
		case f := <-r.posts:
			f()
		case <-ctx.Done():
			r.t.Fatalf("never came: %s", what)
		}
	}
}

// settle lets everything happen that has been posted already.
func (r *rig) settle() {
	for {
		select {
		case f := <-r.posts:
			f()
		default:
			return
		}
	}
}

// key presses a key where the keyboard is.
func (r *rig) key(n fyne.KeyName) {
	c := r.win.Canvas()
	if f := c.Focused(); f != nil {
		f.TypedKey(&fyne.KeyEvent{Name: n})
		return
	}
	c.OnTypedKey()(&fyne.KeyEvent{Name: n})
}

// began waits for the engine to be called.
func (r *rig) began() *call {
	r.t.Helper()
	select {
	case c := <-r.engine.calls:
		return c
	case <-time.After(time.Minute):
		r.t.Fatal("the engine was never called")
	}
	return nil
}

// start fills in two folders and presses Check.
func (r *rig) start() *call {
	r.t.Helper()
	r.Open(sampleSource, sampleShare)
	test.Tap(r.view().head.check)
	return r.began()
}

// done runs a whole check that gives a report.
func (r *rig) done(rep *checks.Report) {
	r.t.Helper()
	c := r.start()
	c.end <- ending{rep: rep}
	r.until("the end of the run", func() bool { return r.running == "" })
	r.until("the kept report", func() bool { return r.desktop.StateDir == "" || r.hasLast(checks.Before) || rep.Invented != "" })
	r.settle()
}

var update = flag.Bool("update", false, "write the goldens anew")

// golden compares what a canvas shows, as text, with testdata/NAME.xml, and tells the first line
// that differs. What it got is left in testdata/failed.
func golden(t *testing.T, name string, c fyne.Canvas) {
	t.Helper()
	got, file := test.RenderToMarkup(c), filepath.Join("testdata", name+".xml")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got == string(want) {
		return
	}
	failed := filepath.Join("testdata", "failed", name+".xml")
	if err := os.MkdirAll(filepath.Dir(failed), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(failed, []byte(got), 0o644); err != nil {
		t.Fatal(err)
	}
	a, b := strings.Split(string(want), "\n"), strings.Split(got, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			t.Fatalf("%s:%d is\n%s\nwant\n%s\n(the whole is in %s; -update takes it over)", file, i+1, b[i], a[i], failed)
		}
	}
	t.Fatalf("%s has %d lines, want %d (the whole is in %s; -update takes it over)", file, len(b), len(a), failed)
}
