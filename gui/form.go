package gui

import (
	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

// form is what a stage asks for besides its two places: fields, and below them what is wrong with what was typed.
type form struct {
	box     fyne.CanvasObject
	fields  []*kit.Field
	buttons []fyne.Disableable // that are locked with the fields
	problem *kit.Paragraph
	into    func(*Request) error // takes over what was typed, or says what cannot be understood

	typed   func() // something was typed; nil: nothing in the form follows from it
	wrong   func() // something is wrong, and must be in sight; nil: it always is
	changed func() // something is set otherwise than before; for the window
}

func newForm(into func(*Request) error, fields ...*kit.Field) form {
	return form{fields: fields, into: into, problem: newProblem()}
}

// newProblem is where a problem is told; it is not there while there is none.
func newProblem() *kit.Paragraph {
	p := kit.NewParagraph("", kit.SizeSmall+1, kit.ColFail)
	p.Hide()
	return p
}

// build fills the form with rows.
func (f *form) build(rows ...fyne.CanvasObject) {
	f.box = kit.NewInset(12, 4, kit.NewColumn(6, append(rows, f.problem)...))
	for _, x := range f.fields {
		x.OnChanged = func(string) {
			f.say("") // told again when it is still wrong
			if f.typed != nil {
				f.typed()
			}
			if f.changed != nil {
				f.changed()
			}
		}
	}
}

// say shows what is wrong with what was typed; empty if nothing is.
func (f *form) say(problem string) {
	f.problem.Say(problem)
	if problem != "" && f.wrong != nil {
		f.wrong()
	}
}

// lock keeps all of it as it is while a check runs.
func (f *form) lock(on bool) {
	for _, x := range f.fields {
		kit.SetEnabled(x, !on)
	}
	for _, b := range f.buttons {
		kit.SetEnabled(b, !on)
	}
}

// label is what a field is called, beside it.
func label(s string) *kit.Text { return kit.NewText(s, kit.SizeSmall+1, kit.ColMuted) }

// labelled is a field with what it is called.
func labelled(s string, f *kit.Field) fyne.CanvasObject {
	return kit.NewStretch(8, 1, label(s), f.Framed())
}
