package gui

import (
	"fmt"
	"slices"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/test"

	"loadline/gui/kit"
)

// watcher is the toolkit's test driver with a count of everything that would have the window drawn
// again. It plays the frames of the real driver, which lays out what wants another size: a window that
// has settled must ask for no further frame, or it is drawn for ever.
type watcher struct {
	fyne.App
	fyne.Driver
	asked   []string // what was refreshed or moved
	moving  map[*fyne.Animation]bool
	least   map[fyne.CanvasObject]fyne.Size
	layouts int
}

// watch puts the counting driver in place of a rig's own.
func watch(r *rig) *watcher {
	w := &watcher{App: kit.Still(fyne.CurrentApp()), Driver: fyne.CurrentApp().Driver(), moving: map[*fyne.Animation]bool{}, least: map[fyne.CanvasObject]fyne.Size{}}
	own := fyne.CurrentApp()
	fyne.SetCurrentApp(watchedApp{w.App, w})
	r.t.Cleanup(func() { fyne.SetCurrentApp(own) })
	return w
}

type watchedApp struct {
	fyne.App
	w *watcher
}

func (a watchedApp) Driver() fyne.Driver { return watchedDriver{a.w.Driver, a.w} }

type watchedDriver struct {
	fyne.Driver
	w *watcher
}

func (d watchedDriver) CanvasForObject(o fyne.CanvasObject) fyne.Canvas {
	return watchedCanvas{d.Driver.CanvasForObject(o), d.w}
}
func (d watchedDriver) StartAnimation(a *fyne.Animation) { d.w.moving[a] = true }
func (d watchedDriver) StopAnimation(a *fyne.Animation)  { delete(d.w.moving, a) }

type watchedCanvas struct {
	fyne.Canvas
	w *watcher
}

func (c watchedCanvas) Refresh(o fyne.CanvasObject) {
	c.w.asked = append(c.w.asked, fmt.Sprintf("refresh of %T", o))
}
func (c watchedCanvas) SetDirty() { c.w.asked = append(c.w.asked, "something moved") }

// frame does what the real driver does before it draws: it asks everything for its least size, and
// lays out again what holds something that is new or wants another size.
func (w *watcher) frame(root fyne.CanvasObject) {
	w.visit(root)
}

// visit reports whether the one above must be laid out again.
func (w *watcher) visit(o fyne.CanvasObject) (again bool) {
	if !o.Visible() {
		return false
	}
	inside := []fyne.CanvasObject{}
	layout := func() {}
	switch x := o.(type) {
	case *fyne.Container:
		inside = x.Objects
		if x.Layout != nil {
			layout = func() { x.Layout.Layout(x.Objects, x.Size()) }
		}
	case fyne.Widget:
		inside = test.WidgetRenderer(x).Objects()
		layout = func() { test.WidgetRenderer(x).Layout(x.Size()) }
	}
	needs := false
	for _, c := range slices.Clone(inside) {
		needs = w.visit(c) || needs
	}
	if needs {
		w.layouts++
		layout()
	}
	least := o.MinSize()
	was, known := w.least[o]
	if img, ok := o.(*canvas.Image); ok && !known {
		img.Refresh()
	}
	w.least[o] = least
	return !known || was != least
}

// still plays frames until nothing asks for another, and fails where that never happens; after that
// nothing may ask for one, also not when all is laid out once more.
func (w *watcher) still(r *rig) {
	r.t.Helper()
	roots := append([]fyne.CanvasObject{r.win.Content()}, r.win.Canvas().Overlays().List()...)
	const most = 8
	for i := 0; ; i++ {
		w.asked, w.layouts = nil, 0
		for _, o := range roots {
			w.frame(o)
		}
		if len(w.asked) == 0 && w.layouts == 0 {
			break
		}
		if i == most {
			r.t.Fatalf("after %d frames there are still %d layouts, and it is asked for: %q", most, w.layouts, w.asked[:min(len(w.asked), 8)])
		}
	}
	for _, o := range roots {
		kit.Relayout(o)
		w.frame(o)
	}
	if len(w.asked) > 0 || w.layouts > 0 {
		r.t.Errorf("laid out again without a reason, it asks for %d layouts and %q", w.layouts, w.asked[:min(len(w.asked), 8)])
	}
	if len(w.moving) > 0 {
		r.t.Errorf("%d animations run", len(w.moving))
	}
}
