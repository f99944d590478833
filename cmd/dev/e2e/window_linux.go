package e2e

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jezek/xgb/xproto"

	"loadline/gui/trace"
)

// look is how often the trace is looked at.
const look = 20 * time.Millisecond

// A Window is a program with a window on a Display.
type Window struct {
	*Display
	cmd   *exec.Cmd
	id    xproto.Window
	trace string
	log   *logFile
	ended chan struct{} // closed once the program ended
	err   error         // how it ended; read after ended
}

// Open starts a program and waits until its window is there, fills the screen and has the
// keyboard. The program is killed at the end of the test if it still runs.
func (d *Display) Open(program string, args ...string) *Window {
	t := d.t
	t.Helper()
	dir, err := os.MkdirTemp(d.home, "window-")
	if err != nil {
		t.Fatal(err)
	}
	w := &Window{Display: d, trace: filepath.Join(dir, "trace"), log: &logFile{filepath.Join(dir, "log")}, ended: make(chan struct{})}
	w.cmd = exec.Command(program, args...)
	w.cmd.Env = append(d.Env(), trace.Env+"="+w.trace)
	w.cmd.Dir = dir
	out := w.log.open(t)
	w.cmd.Stdout, w.cmd.Stderr = out, out
	dieWithUs(w.cmd)
	if err := w.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		w.err = w.cmd.Wait()
		close(w.ended)
	}()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the window said:\n%s", w.log.tail())
		}
		w.cmd.Process.Kill()
		<-w.ended
	})
	w.Wait("a first line of the trace", func(State) bool { return true })
	w.until("its window", func() bool {
		w.id = d.dropTarget()
		return w.id != 0
	})
	w.fillScreen()
	w.xdotool("windowfocus", "--sync", strconv.Itoa(int(w.id)))
	return w
}

// fillScreen does what a window manager would: no part of the window is off the screen, and its
// pixels are those of the screen.
func (w *Window) fillScreen() {
	w.t.Helper()
	screen := xproto.Setup(w.conn).DefaultScreen(w.conn)
	err := xproto.ConfigureWindowChecked(w.conn, w.id,
		xproto.ConfigWindowX|xproto.ConfigWindowY|xproto.ConfigWindowWidth|xproto.ConfigWindowHeight,
		[]uint32{0, 0, uint32(screen.WidthInPixels), uint32(screen.HeightInPixels)}).Check()
	if err != nil {
		w.t.Fatalf("cannot size the window: %v", err)
	}
	w.until("the window at its size", func() bool {
		g, err := xproto.GetGeometry(w.conn, xproto.Drawable(w.id)).Reply()
		return err == nil && g.Width == screen.WidthInPixels && g.Height == screen.HeightInPixels
	})
	w.Settle()
}

// HasClass reports whether the window is of a class (ICCCM, WM_CLASS: instance and class, each ended by NUL).
func (w *Window) HasClass(class string) bool {
	w.t.Helper()
	p, err := xproto.GetProperty(w.conn, false, w.id, xproto.AtomWmClass, xproto.GetPropertyTypeAny, 0, 256).Reply()
	if err != nil {
		w.t.Fatal(err)
	}
	return slices.Contains(strings.Split(string(p.Value), "\x00"), class)
}

// State is what the window shows now.
func (w *Window) State() State {
	w.t.Helper()
	all := w.Trace()
	if len(all) == 0 {
		return State{}
	}
	return all[len(all)-1]
}

// Trace is everything that the window showed so far.
func (w *Window) Trace() []State {
	w.t.Helper()
	all, err := trace.Read(w.trace)
	if err != nil {
		w.t.Fatal(err)
	}
	return all
}

// Wait waits until the window shows what is asked for and returns that. What says it in words,
// for the message where it does not come.
func (w *Window) Wait(what string, is func(State) bool) State {
	w.t.Helper()
	var s State
	w.until(what, func() bool {
		all := w.Trace()
		if len(all) == 0 {
			return false
		}
		s = all[len(all)-1]
		return is(s)
	})
	return s
}

// Settle waits until the trace stays as it is for a moment: layout and animations are over.
func (w *Window) Settle() State {
	w.t.Helper()
	const still = 250 * time.Millisecond // more than two looks of the window at itself
	n, since := -1, time.Now()
	w.until("a window at rest", func() bool {
		if k := len(w.Trace()); k != n {
			n, since = k, time.Now()
		}
		return n > 0 && time.Since(since) > still
	})
	return w.State()
}

// until polls; it ends the test with a picture and the last state where the time runs out or the
// program ends.
func (w *Window) until(what string, is func() bool) {
	w.t.Helper()
	tick := time.NewTicker(look)
	defer tick.Stop()
	end := time.After(Patience)
	for !is() {
		select {
		case <-tick.C:
		case <-w.ended:
			if is() {
				return
			}
			w.t.Fatalf("waited for %s, but the window ended: %v", what, w.err)
		case <-end:
			w.t.Fatalf("no %s within %s; picture: %s\nlast state: %+v", what, Patience, w.Shot("timeout"), w.State())
		}
	}
}

// Where returns the middle of an element, in pixels of the screen, as soon as it is there and lies
// still.
func (w *Window) Where(element string) (x, y int) {
	w.t.Helper()
	var last trace.Rect
	w.Wait("element "+element, func(s State) bool {
		r, ok := s.At[element]
		same := ok && r == last
		last = r
		return same && r[2] > 0 && r[3] > 0
	})
	x, y = last.Center()
	p, err := xproto.TranslateCoordinates(w.conn, w.id, xproto.Setup(w.conn).DefaultScreen(w.conn).Root, int16(x), int16(y)).Reply()
	if err != nil {
		w.t.Fatal(err)
	}
	return int(p.DstX), int(p.DstY)
}

// Click clicks the middle of an element. The pointer moves twice: the toolkit knows it only after
// a motion.
func (w *Window) Click(element string) {
	w.t.Helper()
	w.ClickAt(w.Where(element))
}

// ClickAt clicks a point of the screen.
func (w *Window) ClickAt(x, y int) {
	w.t.Helper()
	w.xdotool("mousemove", strconv.Itoa(x+1), strconv.Itoa(y), "mousemove", strconv.Itoa(x), strconv.Itoa(y),
		"sleep", "0.1", "click", "1")
}

// Key presses keys, one after the other: "ctrl+s", "Return", "Tab".
func (w *Window) Key(keys ...string) {
	w.t.Helper()
	w.xdotool(append([]string{"key", "--delay", "60"}, keys...)...)
}

// Type types plain ASCII text into what has the keyboard.
func (w *Window) Type(text string) {
	w.t.Helper()
	if i := strings.IndexFunc(text, func(r rune) bool { return r < ' ' || r > '~' }); i >= 0 {
		w.t.Fatalf("cannot type %q: the keyboard of the test knows ASCII only", text)
	}
	w.xdotool("type", "--delay", "40", text)
}

// Replace clicks a text field, empties it and types.
func (w *Window) Replace(element, text string) {
	w.t.Helper()
	w.Click(element)
	w.Wait("the keyboard at "+element, func(s State) bool { return s.Focus == element })
	w.Key("ctrl+a", "BackSpace")
	if text != "" {
		w.Type(text)
	}
}

// AskClose asks the window to close, as a window manager does (ICCCM, WM_DELETE_WINDOW).
func (w *Window) AskClose() {
	w.t.Helper()
	w.send("WM_PROTOCOLS", uint32(w.atom("WM_DELETE_WINDOW")), 0)
}

// Ended waits until the program ended and fails the test if it did so with an error.
func (w *Window) Ended() {
	w.t.Helper()
	select {
	case <-w.ended:
		if w.err != nil {
			w.t.Errorf("the window ended with %v", w.err)
		}
	case <-time.After(Patience):
		w.t.Fatalf("the window did not end within %s; picture: %s", Patience, w.Shot("still-there"))
	}
}

// Kill ends the program with SIGKILL and waits until it is gone, with all that it held.
func (w *Window) Kill() {
	w.t.Helper()
	if err := w.cmd.Process.Kill(); err != nil {
		w.t.Fatal(err)
	}
	<-w.ended
}

// Said is the end of what the program wrote to its standard output and error.
func (w *Window) Said() string { return w.log.tail() }

// Process is the number of the program's process.
func (w *Window) Process() int { return w.cmd.Process.Pid }
