package gui

import (
	"fmt"
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// options are what a person may know about the job besides the two folders. Most need only the folder on
// the share: the others are one line, which says what is set and opens on a press.
type options struct {
	box     fyne.CanvasObject
	fold    *kit.Fold
	more    *fyne.Container // what the fold stands for
	folder  *kit.Text       // what the field for the folder on the share is called
	prefix  *kit.Field
	list    *kit.Field
	uplink  *kit.Field
	battery *kit.Field
	link    *kit.Field
	problem *kit.Paragraph
	places  bool // only what a later stage needs
	changed func()
	focus   func(fyne.Focusable)
	resized func() // it wants another height
}

func newOptions() *options {
	o := &options{
		prefix:  kit.NewField("like 2026-archive"),
		list:    kit.NewField("none: all files are copied"),
		uplink:  kit.NewField("like 20 Mb/s"),
		battery: kit.NewField("like 6 h"),
		link:    kit.NewField("measured"),
		problem: kit.NewParagraph("", kit.SizeSmall+1, kit.ColFail),
	}
	o.problem.Hide()
	for _, f := range o.fields() {
		f.OnChanged = func(string) {
			o.say("") // told again when it is still wrong
			o.showSet()
			if o.changed != nil {
				o.changed()
			}
		}
	}
	label := func(s string) *kit.Text { return kit.NewText(s, kit.SizeSmall+1, kit.ColMuted) }
	cell := func(s string, f *kit.Field) fyne.CanvasObject {
		return kit.NewStretch(8, 1, label(s), f.Framed())
	}
	o.folder = label(oneFolder)
	o.fold = kit.NewFold("", "Change", func() {
		o.open(!o.opened())
		if o.opened() && o.focus != nil {
			o.focus(o.list)
		}
	})
	first := container.New(halves{optionGap}, kit.NewStretch(8, 1, o.folder, o.prefix.Framed()), o.fold)
	o.more = container.New(optionLayout{},
		cell("Copy list", o.list), cell("Uplink", o.uplink), cell("Appliance battery", o.battery), cell("Link speed", o.link))
	o.more.Hide()
	o.box = kit.NewInset(12, 4, kit.NewColumn(6, first, o.more, o.problem))
	o.showSet()
	return o
}

// oneFolder is what the folder on the share is called where there is one disk.
const oneFolder = "Folder on the share"

// onlyPlaces leaves what a later stage needs.
func (o *options) onlyPlaces() {
	o.places = true
	for _, c := range o.more.Objects[1:] {
		c.Hide()
	}
	o.showSet()
}

func (o *options) opened() bool { return o.more.Visible() }

// open shows the other fields, or the line that stands for them alone.
func (o *options) open(on bool) {
	if o.opened() == on {
		return
	}
	kit.SetVisible(o.more, on)
	o.showSet()
	if o.resized != nil {
		o.resized()
	}
}

// showSet says in one line what is set.
func (o *options) showSet() {
	if o.opened() {
		o.fold.Set("", "Fewer options")
		return
	}
	text := "All files"
	if list := input.Path(o.list.Text); list != "" {
		text = "Copy list " + names.Quote(filepath.Base(list))
	}
	if !o.places {
		or := func(what string, f *kit.Field, none string) string {
			if s := strings.TrimSpace(f.Text); s != "" {
				return what + " " + oneLine(s)
			}
			return what + " " + none
		}
		text += ", " + or("uplink", o.uplink, "unknown") + ", " + or("battery", o.battery, "unknown") + ", " + or("link", o.link, "measured")
	}
	o.fold.Set(text, "Change")
}

func (o *options) fields() []*kit.Field {
	return []*kit.Field{o.prefix, o.list, o.uplink, o.battery, o.link}
}

func (o *options) lock(on bool) {
	for _, f := range o.fields() {
		kit.SetEnabled(f, !on)
	}
	kit.SetEnabled(o.fold, !on)
}

// say shows what is wrong with what was typed; empty if nothing is.
func (o *options) say(problem string) {
	o.problem.Set(problem, "")
	kit.SetVisible(o.problem, problem != "")
	if problem != "" {
		o.open(true) // what is wrong must be in sight
	}
}

// into writes the options into a job, or says what cannot be understood.
func (o *options) into(j *checks.Job) error {
	var err error
	if j.Prefix, err = checks.CleanPrefix(input.Path(o.prefix.Text)); err != nil {
		return fmt.Errorf("the folder on the share must be a relative path without \"..\"")
	}
	if j.Uplink, err = input.Rate(o.uplink.Text); err != nil {
		return fmt.Errorf("uplink: %w", err)
	}
	if j.Link, err = input.Rate(o.link.Text); err != nil {
		return fmt.Errorf("link: %w", err)
	}
	if j.Battery, err = input.Hours(o.battery.Text); err != nil {
		return fmt.Errorf("appliance battery: %w", err)
	}
	return nil
}

const (
	optionNarrow = 1000
	optionHigh   = 36
	optionGap    = 18
)

// halves puts two things of one height beside each other.
type halves struct{ gap float32 }

func (l halves) Layout(o []fyne.CanvasObject, s fyne.Size) {
	w := (s.Width - l.gap) / 2
	kit.SetBounds(o[0], 0, 0, w, optionHigh)
	kit.SetBounds(o[1], w+l.gap, 0, w, optionHigh)
}

func (halves) HeightFor([]fyne.CanvasObject, float32) float32 { return optionHigh }

func (halves) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(500, optionHigh) }

// optionLayout: the copy list takes what the short fields leave; where it is narrow, it has a line of
// its own.
type optionLayout struct{}

func (optionLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	short := [3]float32{152, 186, 152}
	switch {
	case !o[1].Visible():
		kit.SetBounds(o[0], 0, 0, s.Width, optionHigh)
	case s.Width < optionNarrow:
		kit.SetBounds(o[0], 0, 0, s.Width, optionHigh)
		third := (s.Width - 2*optionGap) / 3
		for i := range short {
			kit.SetBounds(o[1+i], float32(i)*(third+optionGap), optionHigh+6, third, optionHigh)
		}
	default:
		room := s.Width
		for _, w := range short {
			room -= w + optionGap
		}
		kit.SetBounds(o[0], 0, 0, room, optionHigh)
		x := room + optionGap
		for i, w := range short {
			kit.SetBounds(o[1+i], x, 0, w, optionHigh)
			x += w + optionGap
		}
	}
}

func (optionLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	if w < optionNarrow && o[1].Visible() {
		return 2*optionHigh + 6
	}
	return optionHigh
}

func (optionLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(500, optionHigh) }
