package gui

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/kit"
	"loadline/gui/trace"
)

// opening is how many looks pass while the window opens and is drawn for the first time.
const opening = 20

// tracer writes the trace: package trace says what stands in it.
type tracer struct {
	file *os.File
	last []byte

	looks int           // so far
	drawn atomic.Int64  // how often the window had been looked over by the toolkit, at the last look
	lag   time.Duration // longest wait for one
	quit  chan struct{}
	done  chan struct{}
}

// traceFromEnv starts the trace if it is asked for.
func (w *Window) traceFromEnv() {
	name := os.Getenv(trace.Env)
	if name == "" {
		return
	}
	f, err := os.OpenFile(filepath.Clean(name), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		w.tell(checks.Warned, "The trace cannot be written: "+err.Error())
		return
	}
	t := &tracer{file: f, quit: make(chan struct{}), done: make(chan struct{})}
	w.tracer = t
	var waits atomic.Bool // a look that the window has not come to yet
	go func() {
		defer close(t.done)
		tick := time.NewTicker(pumpEvery)
		defer tick.Stop()
		for {
			select {
			case <-t.quit:
				return
			case <-tick.C:
				if w.desktop.Rests() && w.ground.Looks() == t.drawn.Load() {
					continue // nothing waits, and nothing has changed
				}
				if !waits.CompareAndSwap(false, true) {
					continue
				}
				asked := time.Now()
				w.desktop.Glance(func() {
					waits.Store(false)
					if t.looks++; t.looks > opening {
						t.lag = max(t.lag, time.Since(asked))
					}
					// What is shown cannot have changed while the window was not drawn; once a second all
					// the same.
					if looks := w.ground.Looks(); t.drawn.Swap(looks) != looks || t.looks%10 == 0 {
						t.write(w)
					}
				})
			}
		}
	}()
}

func (t *tracer) close() {
	close(t.quit)
	<-t.done
}

// write adds a line if anything differs from the line before.
func (t *tracer) write(w *Window) {
	line, err := json.Marshal(w.snapshot())
	if err != nil || bytes.Equal(line, t.last) {
		return
	}
	t.last = line
	_, _ = t.file.Write(append(line[:len(line):len(line)], '\n')) // a test that misses a line says so
}

// snapshot is what the window shows now.
func (w *Window) snapshot() trace.State {
	v := w.view()
	s := trace.State{
		State: string(v.state), Page: w.at, Stage: string(w.stage), Checks: map[string]string{}, Saved: w.saved, Message: w.message,
		Source: v.setup.from.path.Text, Share: v.setup.to.path.Text, Theme: "light", Scale: w.win.Canvas().Scale(), At: map[string]trace.Rect{},
	}
	if kit.IsDark() {
		s.Theme = "dark"
	}
	if v.setup.options != nil {
		s.Prefix = v.setup.options.prefix.Text
	}
	if v.report != nil && (v.state == stateDone || v.state == stateStopped) {
		s.Verdict = v.report.Verdict.String()
	}
	for _, k := range v.list.cards {
		s.Checks[k.check.ID] = k.status.String()
		if k.open {
			s.Open = k.check.ID
		}
	}
	if w.files != nil && w.at == pageFiles {
		s.Filter, s.Rows, s.Total = w.files.find.Text, w.files.model.rows(), w.files.total()
	}
	wait := w.run.longestWait()
	if w.tracer != nil {
		wait = max(wait, w.tracer.lag)
	}
	s.Lag = (wait.Milliseconds() + 9) / 10 * 10
	if w.fix != nil && w.at == pageFix {
		s.Rows = w.fix.rows()
	}
	if w.split != nil && w.at == pageSplit {
		s.Rows = w.split.rows()
	}
	if w.sheet != nil {
		s.Dialog = w.sheet.Name
	}
	focused, _ := w.win.Canvas().Focused().(fyne.CanvasObject)
	named := map[fyne.CanvasObject]string{}
	for name, o := range w.elements() {
		named[o] = name
		if o == focused {
			s.Focus = name
		}
	}
	// One walk for all: asked for each by itself, the driver would walk for each.
	root := w.win.Canvas().Overlays().Top()
	if root == nil {
		root = w.win.Content()
	}
	scrolls := map[fyne.CanvasObject]bool{}
	page := v.list.page
	if w.at == pageChecks && w.sheet == nil {
		kit.Walk(page.Viewport(), func(o fyne.CanvasObject, _ fyne.Position) { scrolls[o] = named[o] != "" })
	}
	view, seen := w.win.Canvas().Size().Height, float32(barHigh)+page.Viewport().Position().Y
	kit.Walk(root, func(o fyne.CanvasObject, at fyne.Position) {
		name, ok := named[o]
		if !ok {
			return
		}
		top, bottom := float32(0), view
		if scrolls[o] {
			top, bottom = seen, seen+page.Viewport().Size().Height
		}
		if r, ok := w.rectangle(o, at, top, bottom); ok {
			s.At[name] = r
		}
	})
	return s
}

// total is how many rows there are without a filter.
func (p *filesPage) total() int {
	return int(p.counts[0] + p.counts[1] + p.counts[2])
}

// addUsable adds the buttons that can be pressed now.
func addUsable(m map[string]fyne.CanvasObject, buttons map[string]*kit.Button) {
	for name, b := range buttons {
		if b.Visible() && !b.Disabled() {
			m[name] = b
		}
	}
}

// elements names what can be seen and used now.
func (w *Window) elements() map[string]fyne.CanvasObject {
	m := map[string]fyne.CanvasObject{}
	if s := w.sheet; s != nil {
		if s.Field != nil {
			m["dialog-path"] = s.Field
		}
		if s.Yes != nil {
			m["dialog-yes"] = s.Yes
		}
		m["dialog-no"] = s.No
		return m
	}
	b := w.bar
	m["theme"], m["keys"] = b.theme, b.keys
	addUsable(m, map[string]*kit.Button{"save": b.save, "fix": b.fix, "boxes": b.boxes, "last": b.last})
	for s, x := range b.stages {
		m["stage:"+string(s)] = x
	}
	switch w.at {
	case pageFiles:
		p := w.files
		m["back"], m["filter"], m["rows"] = p.back, p.find, p.table
		m["rule"], m["copy-list"], m["save-list"] = p.choice, p.list, p.save
		m["level:fail"], m["level:warn"], m["level:note"] = p.levels[checks.Fail], p.levels[checks.Warn], p.levels[checks.Note]
	case pageFix:
		p := w.fix
		m["back"], m["rows"], m["tab-rename"], m["tab-left"] = p.back, p.table, p.tabRename, p.tabLeft
		addUsable(m, map[string]*kit.Button{"rename": p.apply, "undo": p.undo, "go-on": p.resume, "save-lists": p.lists})
		if p.edit.Visible() {
			m["new-name"], m["keep-name"] = p.name, p.keep
		}
	case pageSplit:
		w.split.elements(m)
	case pageChecks:
		v := w.view()
		m["verdict"] = v.head.box
		if v.head.side != nil {
			m["recheck"] = v.head.side
		}
		v.setup.elements(m)
		addUsable(m, map[string]*kit.Button{"check": v.head.check, "stop": v.head.stop, "files": v.head.files})
		for _, k := range v.list.cards {
			m["card:"+k.check.ID] = k
			if k.open && k.files != nil {
				m["files:"+k.check.ID] = k.files
			}
			if k.open && k.read != nil {
				m["read-all"] = k.read
			}
		}
	}
	return m
}

// rectangle is where a thing that stands at a place of the window is on the screen, in pixels; false if
// it is out of view, which goes from top to bottom. Of a card it is the head.
func (w *Window) rectangle(o fyne.CanvasObject, pos fyne.Position, top, bottom float32) (r trace.Rect, seen bool) {
	c := w.win.Canvas()
	size := o.Size()
	if k, ok := o.(*card); ok {
		size.Height = min(k.headHigh(size.Width), size.Height)
	}
	if size.Width <= 0 || size.Height <= 0 || pos.Y < top-1 || pos.Y+size.Height > bottom+1 || pos.X < 0 || pos.X > c.Size().Width {
		return r, false
	}
	px := func(v float32) int { return int(math.Round(float64(v * c.Scale()))) }
	return trace.Rect{px(pos.X), px(pos.Y), px(size.Width), px(size.Height)}, true
}
