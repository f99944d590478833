package gui

import (
	"context"
	"errors"
	"os"
	"strings"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/arrival"
	"loadline/checks/arrival/listing"
	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// store is what a person may say about a listing, and shows how it was understood.
type store struct {
	form
	columns *kit.Field
	disk    *kit.Field
	choose  *kit.Button
	how     *kit.Paragraph // how the listing was understood
}

func newStore(w *Window) *store {
	s := &store{
		columns: kit.NewField("automatic, or like key=2,size=3"),
		disk:    kit.NewField("none"),
		how:     kit.NewParagraph("", kit.SizeSmall+1, kit.ColMuted),
	}
	s.how.Hide()
	s.form = newForm(s.read, s.columns, s.disk)
	s.disk.TextStyle = fyne.TextStyle{Monospace: true}
	s.choose = kit.NewButton(kit.Plain, "folder", "Choose…", func() {
		w.choose("Choose the folder of the disk", input.Path(s.disk.Text), true, func(path string) { s.disk.SetText(input.ShowPath(path)) },
			func() { s.say("No dialog could be shown. Type the path of the disk.") })
	}).Shorter("").WithHeight(optionHigh)
	s.buttons = []fyne.Disableable{s.choose}
	s.build(s.how, inHalves(labelled("Columns", s.columns), kit.NewStretchLeast(8, 1, 200, label("The disk"), s.disk.Framed(), s.choose)))
	return s
}

// read takes the wishes over into a request, or says what cannot be understood.
func (s *store) read(r *Request) error {
	var err error
	if r.Columns, err = listing.ParseColumns(s.columns.Text); err != nil {
		return err
	}
	r.Disk = input.Path(s.disk.Text)
	return nil
}

// firstRows is how many objects of a listing are looked up before the check.
const firstRows = 10

// inspectStore looks beside the window how the listing would be read, so that the person sees whether its
// columns are understood before anything is compared.
func (w *Window) inspectStore(v *view) {
	x, s := v.setup.to, v.setup.store
	list := input.Paths(x.path.Text)
	columns, err := listing.ParseColumns(s.columns.Text)
	switch {
	case len(list) == 0:
		x.say("", "")
		s.how.Say("")
	case err != nil:
		s.how.Say("")
		s.say(capitalize(oneLine(err.Error())) + ".")
	default:
		manifest := v.setup.from.get()
		typed := func() string { return strings.Join([]string{s.columns.Text, v.setup.from.get(), x.path.Text}, "\x00") }
		what := typed()
		w.look(v, what, func() bool { return typed() == what }, func() func() {
			facts, how, problem := understand(manifest, list, columns)
			return func() {
				x.say(facts, problem)
				s.how.Say(how)
			}
		})
		return
	}
	v.relayout()
}

// understand says what the files of a listing are, how they would be read, and what is wrong with them.
func understand(manifest string, list []string, columns listing.Columns) (facts, how, problem string) {
	size := int64(0)
	for _, path := range list {
		info, problem := lookAtFile(path)
		if problem != "" {
			return "", "", problem
		}
		size += info.Size()
	}
	facts = checks.Bytes(size)
	if len(list) > 1 {
		facts = checks.Plural(int64(len(list)), "file") + ", " + facts
	}
	// A large manifest is read when the check runs: here it would hold up the answer.
	if info, err := os.Stat(manifest); err != nil || !info.Mode().IsRegular() || info.Size() > manifestAtOnce {
		manifest = ""
	}
	o := arrival.Options{Columns: columns}
	u, err := arrival.Inspect(context.Background(), manifest, list, o, firstRows)
	var job *checks.JobError
	if errors.As(err, &job) && job.Field == checks.FieldManifest { // told beside its own field
		u, err = arrival.Inspect(context.Background(), "", list, o, firstRows)
	}
	if err != nil {
		return "", "", capitalize(oneLine(err.Error())) + "."
	}
	return facts, understoodWords(u), ""
}

// understoodWords say in a few sentences how a listing would be read.
func understoodWords(u *arrival.Understood) string {
	text := "How it is read: " + oneLine(u.Format.String()) + "."
	if u.Format.Guessed {
		text += " The columns were recognized by what they hold: check that they are right, or name them below."
	}
	n := int64(len(u.Rows))
	if n > 0 {
		first := u.Rows[0]
		text += " It begins with " + names.QuoteShort(string(first.Key))
		if first.Size >= 0 {
			text += ", " + checks.Plural(first.Size, "byte")
		}
		text += "."
	}
	switch {
	case n == 0:
		text += " It holds no object."
	case u.Matched == 0:
		text += " None of its first " + checks.Plural(n, "object") + " is a file of the manifest: name the columns, or choose another listing, if that looks wrong."
	case u.Matched > 0:
		text += " Of its first " + checks.Plural(n, "object") + ", " + checks.Many(int64(u.Matched), "is a file", "are files") + " of the manifest; keys are read " + u.Reading.String()
		if u.Head != "" {
			text += ", below " + names.QuoteShort(u.Head)
		}
		text += "."
	}
	if len(u.Parts) > 1 {
		text += " It has " + checks.Plural(int64(len(u.Parts)), "file") + "."
	}
	if k := int64(len(u.Absent)); k > 0 {
		text += " " + checks.Many(k, "file of it is", "files of it are") + " not there, " + names.QuoteShort(u.Absent[0])
		if k > 1 {
			text += " among them"
		}
		text += "."
	}
	return text
}
