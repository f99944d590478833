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
	s := &kit.Sheet{Name: "about"}
	s.No = kit.NewButton(kit.Plain, "", "Close", func() { w.closeSheet() })
	licence := kit.NewButton(kit.Plain, "save", "Save the licences", w.saveLicences)
	buttons := []fyne.CanvasObject{licence}
	if book != "" {
		buttons = append(buttons, kit.NewButton(kit.Plain, "folder", "Open the handbook’s folder", func() {
			if err := w.desktop.Reveal(filepath.Dir(book)); err != nil {
				w.closeSheet()
				w.tell(checks.Failed, "No file manager could be opened: "+err.Error()+".")
			}
		}))
	}
	about := func(title, text string, mono bool) fyne.CanvasObject {
		p := kit.NewParagraph(text, kit.SizeBody, kit.ColText)
		if mono {
			p = p.Mono()
		}
		return kit.NewColumn(3, heading(title), p)
	}
	content := kit.NewColumn(kit.GapMid,
		kit.NewParagraph("About Loadline", 18, kit.ColText).Bold(),
		kit.NewParagraph("Loadline says whether everything on a disk will arrive in an object store, whether the copy is whole, and whether the disk may be erased.", kit.SizeBody, kit.ColMuted),
		about("This build", checks.ThisBuild().String(), true),
		about("Handbook", names.Quote(cmp.Or(book, "checks/README.md"))+map[bool]string{true: ", in the source of the project"}[book == ""], false),
		about("Licence", "BSD 2-Clause. What is built in from others comes under their own terms; “Save the licences” writes all of them to a file.", false),
		kit.NewRow(8, buttons...),
		kit.NewStretch(10, 0, kit.NewText("", kit.SizeBody, kit.ColText), s.No))
	w.open(s, content, s.No)
}

// saveLicences writes all licences to a file: they are too long to be read here.
func (w *Window) saveLicences() {
	w.closeSheet()
	w.saveSheet("Save the licences", "The licence of Loadline, and those of everything that is built into it, as text.", "Loadline licences.txt",
		func(_ string, out io.Writer) error {
			_, err := io.WriteString(out, licences.Text())
			return err
		})
}
