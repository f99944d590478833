package gui

import (
	"fmt"
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"

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
	form    *form       // of one of the next three
	options *options    // before and after copying; else nil
	store   *store      // after arrival; else nil
	portion *portion    // of a recheck; else nil
	disks   *moreDisks  // before copying; else nil
	one     *diskChoice // after copying; else nil

	mountedFrom string // what the share is mounted from, once a report says so
	view        *view
}

// build shows the two places and the form below; between stands what there is besides, nil for nothing.
func (s *setup) build(v *view, between fyne.CanvasObject) {
	s.view = v
	rows := []fyne.CanvasObject{besideEachOther(s.from.box, s.to.box)}
	if between != nil {
		rows = append(rows, between)
	}
	s.panel = kit.NewSurface(kit.ColSurface, kit.ColLine, kit.NewColumn(4, append(rows, kit.NewInset(12, 0, kit.NewRule()), s.form.box)...)).Pad(4, 4)
	s.fold = kit.NewFold("disk", "Change", func() {
		s.setFolded(false)
		v.focus(s.from.path)
	}).Panel()
	s.fold.Hide()
	s.box = kit.NewColumn(0, s.fold, s.panel)
}

// fields are those besides the places.
func (s *setup) fields() []*kit.Field {
	if s.disks != nil {
		return append(s.disks.fields(), s.form.fields...)
	}
	return s.form.fields
}

// lock keeps all of it as it is.
func (s *setup) lock(on bool) {
	s.from.lock(on)
	s.to.lock(on)
	s.form.lock(on)
	if s.disks != nil {
		s.disks.lock(on)
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
	s.view.resized()
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

// besideEachOther puts two places beside each other, with an arrow between them.
func besideEachOther(from, to fyne.CanvasObject) *fyne.Container {
	return kit.Arrange(func(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
		w := (room.Width - 30) / 2
		put(o[0], 0, 0, w, room.Height)
		put(o[1], w+4, 32, 22, 22)
		put(o[2], w+30, 0, w, room.Height)
		return max(kit.HeightOf(o[0], w), kit.HeightOf(o[2], w))
	}, func(o []fyne.CanvasObject) fyne.Size {
		return fyne.NewSize(560, max(o[0].MinSize().Height, o[2].MinSize().Height))
	}, from, kit.NewMark("onward", kit.ColMuted, 22), to)
}
