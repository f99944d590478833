package gui

import (
	"fmt"
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// options are what a person may know about the job besides the two folders. Most need only the folder on
// the share: the others are one line, which says what is set and opens on a press.
type options struct {
	form
	fold    *kit.Fold
	more    *fyne.Container // what the fold stands for
	folder  *kit.Text       // what the field for the folder on the share is called
	prefix  *kit.Field
	list    *kit.Field
	uplink  *kit.Field
	battery *kit.Field
	link    *kit.Field
	places  bool // only what a later stage needs
	view    *view
}

func newOptions(v *view) *options {
	o := &options{
		view:    v,
		prefix:  kit.NewField("like 2026-archive"),
		list:    kit.NewField("none: all files are copied"),
		uplink:  kit.NewField("like 20 Mb/s"),
		battery: kit.NewField("like 6 h"),
		link:    kit.NewField("measured"),
		folder:  label(oneFolder),
	}
	o.form = newForm(o.read, o.prefix, o.list, o.uplink, o.battery, o.link)
	o.typed = o.showSet
	o.wrong = func() { o.open(true) }
	o.fold = kit.NewFold("", "Change", func() {
		o.open(!o.opened())
		if o.opened() {
			v.focus(o.list)
		}
	})
	first := inHalves(kit.NewStretch(8, 1, o.folder, o.prefix.Framed()), o.fold)
	o.more = kit.Arrange(arrangeOptions, kit.AtLeast(500, optionHigh),
		labelled("Copy list", o.list), labelled("Uplink", o.uplink), labelled("Appliance battery", o.battery), labelled("Link speed", o.link))
	o.more.Hide()
	o.buttons = []fyne.Disableable{o.fold}
	o.build(first, o.more)
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
	o.view.resized()
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

// read writes the options into a job, or says what cannot be understood.
func (o *options) read(r *Request) error {
	j, err := &r.Job, error(nil)
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

// inHalves puts two things of one height beside each other.
func inHalves(a, b fyne.CanvasObject) *fyne.Container {
	return kit.Arrange(func(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
		w := (room.Width - optionGap) / 2
		put(o[0], 0, 0, w, optionHigh)
		put(o[1], w+optionGap, 0, w, optionHigh)
		return optionHigh
	}, kit.AtLeast(500, optionHigh), a, b)
}

// arrangeOptions: the copy list takes what the short fields leave; where it is narrow, it has a line of
// its own.
func arrangeOptions(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	short := [3]float32{152, 186, 152}
	switch {
	case !o[1].Visible():
		put(o[0], 0, 0, room.Width, optionHigh)
	case room.Width < optionNarrow:
		put(o[0], 0, 0, room.Width, optionHigh)
		third := (room.Width - 2*optionGap) / 3
		for i := range short {
			put(o[1+i], float32(i)*(third+optionGap), optionHigh+6, third, optionHigh)
		}
		return 2*optionHigh + 6
	default:
		x := room.Width
		for i := len(short) - 1; i >= 0; i-- {
			x -= short[i]
			put(o[1+i], x, 0, short[i], optionHigh)
			x -= optionGap
		}
		put(o[0], 0, 0, x, optionHigh)
	}
	return optionHigh
}
