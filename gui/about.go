package gui

import (
	"cmp"
	"io"
	"os"
	"path/filepath"

	"fyne.io/fyne/v2"

	"loadline/assets/licences"
	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/kit"
)

// showAbout tells which build this is, where its handbook lies, and under which terms it comes.
func (w *Window) showAbout() {
	exe, _ := os.Executable() // without it, the handbook is in the project
	book := checks.Handbook(exe)
	buttons := []fyne.CanvasObject{kit.NewButton(kit.Plain, "save", "Save the licences", w.saveLicences)}
	where := names.Quote(cmp.Or(book, "checks/README.md"))
	if book == "" {
		where += ", in the source of the project"
	} else {
		buttons = append(buttons, kit.NewButton(kit.Plain, "folder", "Open the handbook’s folder", func() {
			w.closeSheet() // or it would hide what is said where no file manager opens
			w.reveal(filepath.Dir(book))
		}))
	}
	w.open(&kit.Sheet{Name: "about"}, "About Loadline", nil,
		kit.NewParagraph("Loadline says whether everything on a disk will arrive in an object store, whether the copy is whole, and whether the disk may be erased.", kit.SizeBody, kit.ColMuted),
		kit.NewColumn(3, heading("This build"), kit.NewParagraph(checks.ThisBuild().String(), kit.SizeBody, kit.ColText).Mono()),
		section("Handbook", where),
		section("Licence", "BSD 2-Clause. What is built in from others comes under their own terms; “Save the licences” writes all of them to a file."),
		kit.NewRow(8, buttons...))
}

// saveLicences writes all licences to a file: they are too long to be read here.
func (w *Window) saveLicences() {
	w.closeSheet()
	w.askFile("Save the licences", "The licence of Loadline, and those of everything that is built into it, as text.", "Loadline licences.txt",
		func(_ string, out io.Writer) error {
			_, err := io.WriteString(out, licences.Text())
			return err
		})
}

// reveal opens a folder in the file manager.
func (w *Window) reveal(dir string) {
	if err := w.desktop.Reveal(dir); err != nil {
		w.tell(checks.Failed, "No file manager could be opened: "+err.Error()+". The folder is "+names.Quote(dir)+".")
	}
}
