package gui

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
	"loadline/gui/kit"
)

// options are what a person may know about the job besides the two folders.
type options struct {
	box     fyne.CanvasObject
	line    *fyne.Container
	prefix  *kit.Field
	list    *kit.Field
	uplink  *kit.Field
	battery *kit.Field
	link    *kit.Field
	problem *kit.Paragraph
	changed func()
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
			if o.changed != nil {
				o.changed()
			}
		}
	}
	cell := func(label string, f *kit.Field) fyne.CanvasObject {
		return kit.NewStretch(8, 1, kit.NewText(label, kit.SizeSmall+1, kit.ColMuted), f.Framed())
	}
	o.line = container.New(&optionLayout{},
		cell("Folder on the share", o.prefix), cell("Copy list", o.list), cell("Uplink", o.uplink),
		cell("Appliance battery", o.battery), cell("Link speed", o.link))
	o.box = kit.NewInset(12, 4, kit.NewColumn(4, o.line, o.problem))
	return o
}

// onlyPlaces leaves what a later stage needs.
func (o *options) onlyPlaces() {
	for _, c := range o.line.Objects[2:] {
		c.Hide()
	}
}

func (o *options) fields() []*kit.Field {
	return []*kit.Field{o.prefix, o.list, o.uplink, o.battery, o.link}
}

func (o *options) lock(on bool) {
	for _, f := range o.fields() {
		if on {
			f.Disable()
		} else {
			f.Enable()
		}
	}
}

// say shows what is wrong with what was typed; empty if nothing is.
func (o *options) say(problem string) {
	o.problem.Set(problem, "")
	kit.SetVisible(o.problem, problem != "")
}

// into writes the options into a job, or says what cannot be understood.
func (o *options) into(j *checks.Job) error {
	var err error
	if j.Prefix, err = checks.CleanPrefix(typedPath(o.prefix.Text)); err != nil {
		return fmt.Errorf("the folder on the share must be a relative path without \"..\"")
	}
	if j.Uplink, err = rateIn(o.uplink.Text); err != nil {
		return fmt.Errorf("uplink: %w", err)
	}
	if j.Link, err = rateIn(o.link.Text); err != nil {
		return fmt.Errorf("link: %w", err)
	}
	if j.Battery, err = hoursIn(o.battery.Text); err != nil {
		return fmt.Errorf("appliance battery: %w", err)
	}
	return nil
}

// rateIn reads a rate; a bare number means megabits a second.
func rateIn(s string) (float64, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return 0, nil
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		s += " Mb/s"
	}
	return checks.ParseRate(s)
}

// hoursIn reads a duration; a bare number means hours.
func hoursIn(s string) (time.Duration, error) {
	t := strings.ReplaceAll(strings.TrimSpace(s), " ", "")
	if t == "" {
		return 0, nil
	}
	for _, unit := range []string{"hours", "hour"} {
		t = strings.TrimSuffix(t, unit)
	}
	if _, err := strconv.ParseFloat(t, 64); err == nil {
		t += "h"
	}
	d, err := time.ParseDuration(strings.ReplaceAll(t, "min", "m"))
	if err != nil || d <= 0 || d > 10_000*time.Hour {
		return 0, fmt.Errorf("%q is no time; write hours, like 6 or 5.5", s)
	}
	return d, nil
}

// optionLayout: folder and list share what the short fields leave; where it is narrow, they have a line
// of their own.
type optionLayout struct{}

const (
	optionNarrow = 1000
	optionHigh   = 36
	optionGap    = 18
)

func (optionLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	short := [3]float32{152, 186, 152}
	all, room := o[2].Visible(), s.Width
	if all && s.Width >= optionNarrow {
		for _, w := range short {
			room -= w + optionGap
		}
	}
	half := (room - optionGap) / 2
	kit.SetBounds(o[0], 0, 0, half, optionHigh)
	kit.SetBounds(o[1], half+optionGap, 0, half, optionHigh)
	switch {
	case !all:
	case s.Width < optionNarrow:
		third := (s.Width - 2*optionGap) / 3
		for i := range short {
			kit.SetBounds(o[2+i], float32(i)*(third+optionGap), optionHigh+6, third, optionHigh)
		}
	default:
		x := room + optionGap
		for i, w := range short {
			kit.SetBounds(o[2+i], x, 0, w, optionHigh)
			x += w + optionGap
		}
	}
}

func (optionLayout) HeightFor(o []fyne.CanvasObject, w float32) float32 {
	if w < optionNarrow && o[2].Visible() {
		return 2*optionHigh + 6
	}
	return optionHigh
}

func (optionLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(500, optionHigh) }
