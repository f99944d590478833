package gui

import (
	"fmt"
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// setup shows where the bytes go: from left to right, with the options below. When a check has ended,
// one line stands for all of it, so that verdict and cards have the page.
type setup struct {
	box     *fyne.Container // the fold, and what it stands for
	fold    *kit.Fold
	panel   *kit.Surface
	from    *picker
	to      *picker
	options *options    // before and after copying; else nil
	store   *store      // after arrival; else nil
	portion *portion    // of a recheck; else nil
	disks   *moreDisks  // before copying; else nil
	one     *diskChoice // after copying; else nil

	mountedFrom string // what the share is mounted from, once a report says so
	focus       func(fyne.Focusable)
	resized     func() // it wants another height
}

// newSetup shows two places; between stands what there is besides, perhaps nothing.
func newSetup(from, to *picker, between []fyne.CanvasObject, below fyne.CanvasObject) *setup {
	s := &setup{from: from, to: to}
	places := container.New(setupLayout{}, from.box, kit.NewMark("onward", kit.ColMuted, 22), to.box)
	rows := append([]fyne.CanvasObject{places}, between...)
	s.panel = kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(4, append(rows, kit.NewInset(12, 0, kit.NewRule()), below)...)).Pad(4, 4)
	s.fold = kit.NewFold("disk", "Change", func() {
		s.setFolded(false)
		if s.focus != nil {
			s.focus(s.from.path)
		}
	}).Panel()
	s.fold.Hide()
	s.box = kit.NewColumn(0, s.fold, s.panel)
	return s
}

// fields are those besides the places.
func (s *setup) fields() []*kit.Field {
	switch {
	case s.disks != nil:
		return append(s.disks.fields(), s.options.fields()...)
	case s.options != nil:
		return s.options.fields()
	case s.store != nil:
		return s.store.fields()
	case s.portion != nil:
		return s.portion.fields()
	}
	return nil
}

// lock keeps all of it as it is.
func (s *setup) lock(on bool) {
	s.from.lock(on)
	s.to.lock(on)
	if s.disks != nil {
		s.disks.lock(on)
	}
	switch {
	case s.options != nil:
		s.options.lock(on)
	case s.store != nil:
		s.store.lock(on)
	case s.portion != nil:
		s.portion.lock(on)
	}
}

// complain shows what is wrong with what is no place; empty if nothing is.
func (s *setup) complain(problem string) {
	switch {
	case s.options != nil:
		s.options.say(problem)
	case s.store != nil:
		s.store.complain(problem)
	case s.portion != nil:
		s.portion.complain(problem)
	}
}

// folded reports whether the one line is shown.
func (s *setup) folded() bool { return s.fold.Visible() }

// setFolded shows the one line, or all of it.
func (s *setup) setFolded(on bool) {
	if on {
		s.fold.Set(s.summary(), "Change")
	}
	if s.folded() == on {
		return
	}
	kit.SetVisible(s.fold, on)
	kit.SetVisible(s.panel, !on)
	if s.resized != nil {
		s.resized()
	}
}

// summary says in one line what is set.
func (s *setup) summary() string {
	name := func(p *picker) string {
		list := input.Paths(p.path.Text)
		switch {
		case len(list) == 0:
			return ""
		case len(list) > 1:
			return names.Quote(filepath.Base(list[0])) + " and others"
		}
		return names.Quote(filepath.Base(list[0]))
	}
	from := name(s.from)
	if s.disks != nil && len(s.disks.rows) > 0 {
		from = fmt.Sprintf("%d disks, %s first", len(s.disks.rows)+1, from)
	}
	if s.from.facts.Text != "" {
		from += " (" + s.from.facts.Text + ")"
	}
	to := name(s.to)
	switch {
	case to == "":
		to = "no share yet"
		if s.options == nil {
			to = "nothing yet"
		}
	case s.mountedFrom != "":
		to = names.Quote(s.mountedFrom)
	}
	parts := []string{from + "  →  " + to}
	if o := s.options; o != nil {
		if o.prefix.Text != "" {
			parts = append(parts, "folder "+o.prefix.Text)
		}
		if o.list.Text != "" {
			parts = append(parts, "copy list "+names.Quote(filepath.Base(input.Path(o.list.Text))))
		}
	}
	return strings.Join(parts, ", ")
}

// elements adds what can be seen and used, by the names of the trace.
func (s *setup) elements(m map[string]fyne.CanvasObject) {
	if s.folded() {
		m["source"] = s.fold
		return
	}
	m["source"], m["source-choose"] = s.from.path, s.from.choose
	m["share"], m["share-choose"] = s.to.path, s.to.choose
	if s.store != nil {
		m["columns"], m["disk"], m["disk-choose"] = s.store.columns, s.store.disk, s.store.choose
	}
	if s.portion != nil {
		m["sample"] = s.portion.percent
	}
	if s.disks != nil {
		s.disks.elements(m)
	}
	o := s.options
	if o == nil {
		return
	}
	m["prefix"], m["options"] = o.prefix, o.fold
	if o.opened() {
		m["copy-list"] = o.list
		if !o.places {
			m["uplink"], m["battery"], m["link"] = o.uplink, o.battery, o.link
		}
	}
}

// setupLayout puts the two places beside each other, with an arrow between them.
type setupLayout struct{}

func (setupLayout) side(w float32) float32 { return (w - 30) / 2 }

func (l setupLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w := l.side(s.Width)
	kit.SetBounds(o[0], 0, 0, w, s.Height)
	kit.SetBounds(o[1], w+4, 32, 22, 22)
	kit.SetBounds(o[2], w+30, 0, w, s.Height)
}

func (l setupLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	return max(kit.HeightOf(o[0], l.side(w)), kit.HeightOf(o[2], l.side(w)))
}

func (setupLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(560, max(o[0].MinSize().Height, o[2].MinSize().Height))
}
