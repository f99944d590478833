package gui

import (
	"sync"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/theme"

	"loadline/checks"
	"loadline/checks/demo"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// The pages of the window, as the trace names them.
const (
	pageChecks = "checks"
	pageFiles  = "files"
	pageFix    = "fix"
	pageSplit  = "split"
)

// Window is the whole window. All its methods are for the goroutine of the user interface.
type Window struct {
	win     fyne.Window
	engine  Engine
	desktop Desktop

	stage   checks.Stage
	views   map[checks.Stage]*view
	ground  *kit.Background
	bar     *topBar
	notice  *kit.Notice
	body    *fyne.Container // the page that is shown
	at      string
	files   *filesPage
	fix     *fixPage
	split   *splitPage
	boxes   boxSizes // as they were typed last
	sheet   *kit.Sheet
	theme   kit.Mode
	mute    bool // texts are being put, not typed
	standIn func(*checks.Job)
	demo    *demo.Demo      // nil unless the window shows it
	skip    map[string]bool // see skips
	skipOf  string

	run     *runner
	running checks.Stage // of the run that goes on; empty if none does
	began   time.Time
	closing bool
	fixing  bool // renames are being made or undone
	sleepy  bool // this computer cannot be kept awake

	writes  sync.WaitGroup // files that are being written beside the window
	saved   string         // where the last report was written
	message string         // what was last said to the person
	holds   func() bool    // whether that is still true; nil: it stays until something else is said
	probes  probes
	links   links
	offers  []Offer // what is mounted
	gone    bool    // the window is closed
	onIcon  float64 // which part of a run the icon shows; below 0: none
	tracer  *tracer // nil unless a test asks for a trace
}

// New builds the window's content in win. It shows nothing yet: that is the caller's ShowAndRun.
func New(win fyne.Window, e Engine, d Desktop) *Window {
	w := &Window{win: win, engine: e, desktop: d, onIcon: -1, stage: checks.Before, views: map[checks.Stage]*view{}, at: pageChecks, links: links{}, probes: probes{busy: map[string]bool{}}}
	w.run = &runner{postWait: d.PostWait}
	sweep(d.StateDir, d.Now())
	c, err := loadChoices(d.StateDir)
	w.setTheme(c.Theme)
	w.ground = kit.NewBackground()
	w.bar = newTopBar(w)
	w.notice = kit.NewNotice()
	w.body = kit.NewStack()
	for _, s := range viewStages {
		w.views[s] = newView(w, s)
		w.watch(w.views[s])
	}
	win.SetPadded(false)
	win.SetContent(container.New(&frameLayout{}, w.ground, w.bar.box, w.body, w.notice.Box))
	win.Resize(openingSize(c, d, win.Canvas().Scale()))
	win.SetCloseIntercept(w.Close)
	win.SetOnDropped(w.dropped)
	w.bindKeys()
	w.recall(c)
	w.show(pageChecks)
	if first := w.view().setup.from; first.get() == "" { // the one thing to do
		win.Canvas().Focus(first.path)
	}
	if d.Unproven != "" {
		w.tell(checks.Waiting, d.Unproven)
	}
	if err != nil {
		w.tell(checks.Warned, "What was chosen last time could not be read, so the window starts empty: "+err.Error())
	}
	w.askAwake()
	w.traceFromEnv()
	w.watchMounts()
	return w
}

// openingSize is the size of the last time, or a usual one, never larger than the screen.
func openingSize(c choices, d Desktop, scale float32) fyne.Size {
	s := fyne.NewSize(1280, 800)
	if c.Width > 0 && c.Height > 0 {
		s = fyne.NewSize(c.Width, c.Height)
	}
	if scale > 0 && d.ScreenWidth > 0 && d.ScreenHeight > 0 {
		s = s.Min(fyne.NewSize(float32(d.ScreenWidth)/scale, float32(d.ScreenHeight)/scale))
	}
	return s
}

// Open fills in source and share, as the command line gives them.
func (w *Window) Open(source, share string) {
	w.setStage(checks.Before)
	if s := w.views[checks.Before].setup; source != s.from.get() {
		s.disks.put(nil) // those of another job
	}
	w.setPlaces(source, share)
}

func (w *Window) setPlaces(source, share string) {
	for _, s := range []checks.Stage{checks.Before, checks.After} {
		w.views[s].setup.from.put(source)
		w.views[s].setup.to.put(share)
	}
	if source != "" && w.win.Canvas().Focused() == w.view().setup.from.path {
		w.win.Canvas().Unfocus()
	}
}

func (w *Window) view() *view { return w.views[w.stage] }

// recall puts what was remembered into the fields.
func (w *Window) recall(c choices) {
	w.setPlaces(string(c.Source), string(c.Share))
	a := w.views[checks.Arrival].setup
	a.from.put(string(c.Manifest))
	a.to.put(string(c.Listing))
	w.views[checks.Recheck].setup.from.put(string(c.Manifest))
	w.views[checks.Recheck].setup.to.put(string(c.Copy))
	a.store.columns.SetText(c.Columns)
	a.store.disk.SetText(input.ShowPath(string(c.Disk)))
	o := w.views[checks.Before].setup.options
	o.prefix.SetText(input.ShowPath(string(c.Prefix)))
	o.list.SetText(input.ShowPath(string(c.CopyList)))
	o.uplink.SetText(c.Uplink)
	o.battery.SetText(c.Battery)
	o.link.SetText(c.Link)
	w.views[checks.Before].setup.disks.put(c.disks())
	w.boxes = c.boxSizes
	if _, ok := w.views[c.Stage]; ok {
		w.stage = c.Stage
	}
}

// remember keeps the choices for the next start.
func (w *Window) remember() {
	before, arrival := w.views[checks.Before].setup, w.views[checks.Arrival].setup
	o := before.options
	size := w.win.Canvas().Size()
	c := choices{
		Stage: w.stage, Theme: w.theme, Width: size.Width, Height: size.Height,
		Source: []byte(before.from.get()), Share: []byte(before.to.get()), Prefix: []byte(input.Path(o.prefix.Text)),
		CopyList: []byte(input.Path(o.list.Text)),
		Manifest: []byte(arrival.from.get()), Listing: []byte(arrival.to.get()),
		Copy:    []byte(w.views[checks.Recheck].setup.to.get()),
		Columns: arrival.store.columns.Text, Disk: []byte(input.Path(arrival.store.disk.Text)),
		Uplink: o.uplink.Text, Battery: o.battery.Text, Link: o.link.Text, With: keptDisks(before.disks.disks()), boxSizes: w.boxes,
	}
	if w.split != nil {
		c.boxSizes = w.split.typed()
	}
	if w.standIn != nil { // a demo's folders are gone when it ends
		old, err := loadChoices(w.desktop.StateDir)
		if err != nil {
			return
		}
		old.Theme, old.Width, old.Height = c.Theme, c.Width, c.Height
		c = old
	}
	if err := c.save(w.desktop.StateDir); err != nil {
		w.tell(checks.Warned, "Your choices could not be kept for the next start: "+err.Error())
	}
}

// watch ties a view's fields to the window: one place is one place in all stages that have it.
func (w *Window) watch(v *view) {
	typed := func() {
		if w.mute {
			return
		}
		w.mute = true
		if v.setup.options != nil {
			for _, o := range w.views {
				if o != nil && o != v && o.setup.options != nil && o.stage != w.running {
					w.carry(v, o)
					w.showReady(o)
				}
			}
		}
		w.mute = false
		w.showReady(v)
		if w.view() == v {
			w.probe(v)
			w.changed()
		}
	}
	v.setup.from.changed = func(string) { typed() }
	v.setup.to.changed = func(string) { typed() }
	if v.setup.disks != nil {
		v.setup.disks.changed = typed
	}
	v.setup.form.changed = typed
	w.showReady(v)
}

// showReady says what can be done before a run.
func (w *Window) showReady(v *view) {
	if w.running != v.stage {
		v.follow()
	}
	w.showDisks(v)
	if v.state != stateIdle && v.state != stateError || w.running == v.stage {
		return
	}
	v.state = stateIdle
	words := stageWords[v.stage]
	title, next := words.ready, words.next
	switch {
	case !w.ready(v):
		title, next = words.question, words.needs
	case v.setup.to.get() == "":
		title, next = "Ready to check the disk", "No appliance yet? Check the disk now: you learn what to fix, and what capacity and time to plan for."
	case v.stage == checks.After, v.stage == checks.Recheck:
		next = w.beforeLong(next)
	}
	v.head.setPrimary(true)
	v.head.check.Set("", words.button)
	v.head.say(kit.Badge{Mark: "loadline", Color: kit.ColAccent}, title, next)
	kit.SetEnabled(v.head.check, w.ready(v))
	if w.ready(v) && (v.setup.from.wrong() || v.setup.to.wrong() || v.wrongDisk() || v.conflict() != "") {
		next = "Correct what is marked in red below."
		if v.stage == checks.Before && !v.setup.from.wrong() && !v.wrongDisk() && v.conflict() == "" {
			next += " You can still check: the disk is checked either way."
		}
		v.head.say(statusBadge(checks.Warned), "Not ready yet", next)
	}
	v.relayout()
}

// ready reports whether the places that a stage needs are named.
func (w *Window) ready(v *view) bool {
	return v.setup.from.get() != "" && (v.stage == checks.Before || v.setup.to.get() != "")
}

// setStage shows another question.
func (w *Window) setStage(s checks.Stage) {
	if w.views[s] == nil || w.fixing || w.stage == s && w.at == pageChecks {
		return
	}
	w.stage = s
	w.show(pageChecks)
	w.probe(w.view())
}

// show fills the window with a page.
func (w *Window) show(page string) {
	if w.at == pageSplit && page != pageSplit {
		w.split.leave()
	}
	w.at = page
	var o fyne.CanvasObject
	switch page {
	case pageFiles:
		o = w.files.root
	case pageFix:
		o = w.fix.root
	case pageSplit:
		o = w.split.root
	default:
		o = w.view().list.page
	}
	w.body.Objects = []fyne.CanvasObject{o}
	w.body.Refresh()
	w.changed()
	if page == pageChecks {
		w.view().relayout()
	}
}

// back leaves a page for the cards.
func (w *Window) back() {
	if w.fixing { // the bar of what is being done stays in view
		return
	}
	if w.files != nil {
		w.files.leave()
	}
	if w.fix != nil {
		w.fix.leave()
	}
	from := w.at
	w.show(pageChecks)
	c := w.win.Canvas()
	if id := w.backTo(); id != "" && from == pageFiles {
		if k := w.view().list.byID[id]; k != nil {
			c.Focus(k)
			return
		}
	}
	c.Unfocus()
}

func (w *Window) backTo() string {
	if w.files != nil && w.files.check != nil {
		return w.files.check.ID
	}
	return ""
}

// Close asks first while a run goes on.
func (w *Window) Close() {
	if w.running == "" && !w.fixing {
		w.leave()
		return
	}
	if w.sheet != nil && w.sheet.Name == "close" {
		return
	}
	title, text := "A check is still running", "Closing stops it. Nothing on the disk or the share is left half done."
	if w.fixing {
		title, text = "The disk is being changed", "Closing stops between two steps, and a half-made copy is removed. The journal remembers the rest: “Fix names” can resume or undo it."
	}
	w.ask("close", title, text, "Stop and close", "Keep it running", w.Quit)
}

// Quit closes without asking: what runs is stopped first. For signals.
func (w *Window) Quit() {
	switch {
	case w.closing:
	case w.fixing:
		w.closing = true
		w.fix.cancel()
	case w.running != "":
		w.closing = true
		w.Stop()
	default:
		w.leave()
	}
}

func (w *Window) leave() {
	w.gone = true
	w.remember()
	if w.split != nil {
		w.split.leave()
	}
	if w.tracer != nil {
		w.tracer.close()
	}
	w.win.Close()
}

// Finish waits until files that are being written are whole, at most for a while: what hangs would
// hold up the end for ever. Call it when the window is gone.
func (w *Window) Finish(most time.Duration) {
	done := make(chan struct{})
	go func() {
		w.writes.Wait()
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(most):
	}
}

// tellWhile says something that is true as long as holds says so; then it goes by itself.
func (w *Window) tellWhile(holds func() bool, s checks.Status, text string) {
	w.tell(s, text)
	w.holds = holds
}

// changed is called when a run begins or ends, when another page, stage or place is shown: it brings
// the bar up to date, and takes away what is said at the foot where that is no longer true.
func (w *Window) changed() {
	w.bar.update(w)
	if w.holds != nil && !w.holds() {
		w.holds = nil
		w.notice.Hide()
	}
}

// whileRunning holds while the same stage runs.
func (w *Window) whileRunning() func() bool {
	stage := w.running
	return func() bool { return w.running == stage }
}

// onThisPage holds while the same page of the same stage is shown.
func (w *Window) onThisPage() func() bool {
	page, stage := w.at, w.stage
	return func() bool { return w.at == page && w.stage == stage }
}

// withoutReport holds while the stage that is shown has no report and none is being made.
func (w *Window) withoutReport() func() bool {
	v, here := w.view(), w.onThisPage()
	return func() bool { return here() && v.report == nil && w.running == "" }
}

// tell says something to the person, at the foot of the window.
func (w *Window) tell(s checks.Status, text string) {
	w.message, w.holds = text, nil
	b := statusBadge(s)
	if s == checks.Waiting {
		b = kit.Badge{Mark: "note", Color: kit.ColAccent}
	}
	w.notice.Say(b, text)
}

// dropped takes a folder from another program.
func (w *Window) dropped(at fyne.Position, uris []fyne.URI) {
	if len(uris) == 0 || w.running == w.stage || w.fixing || w.sheet != nil || w.foreign() != nil {
		return
	}
	if w.at != pageChecks {
		w.show(pageChecks)
	}
	r := w.view().setup
	to := r.from
	if !r.folded() && r.to.covers(at) {
		to = r.to
	}
	if r.disks != nil && !r.folded() {
		for _, x := range r.disks.rows {
			if x.disk.covers(at) {
				to = x.disk
			}
		}
	}
	if w.stage == checks.Recheck && !r.from.covers(at) { // a folder is the copy
		to = r.to
	}
	to.put(uris[0].Path())
	if w.stage == checks.Arrival && to == r.to && len(uris) > 1 {
		var list []string
		for _, u := range uris {
			list = append(list, u.Path())
		}
		to.path.SetText(input.ShowPaths(list))
	}
	w.win.Canvas().Focus(w.view().head.check)
}

// setTheme takes a mode over.
func (w *Window) setTheme(m kit.Mode) {
	switch m {
	case kit.Light, kit.Dark:
	default:
		m = kit.System
	}
	w.theme = m
	settings, next := fyne.CurrentApp().Settings(), kit.Theme{Mode: m}
	if t, ok := settings.Theme().(*kit.Theme); ok && *t == next {
		return // to set one has the toolkit read all fonts and measure all texts again
	}
	settings.SetTheme(&next)
}

// turnTheme goes from what is shown to its opposite. Where that is what the desktop wishes, the
// window follows the desktop again.
func (w *Window) turnTheme() {
	next, dark := kit.Dark, true
	if kit.IsDark() {
		next, dark = kit.Light, false
	}
	if (fyne.CurrentApp().Settings().ThemeVariant() == theme.VariantDark) == dark {
		next = kit.System
	}
	w.setTheme(next)
	w.changed()
	w.remember()
}
