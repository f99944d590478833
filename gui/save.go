package gui

import (
	"bufio"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// save asks where to write the report, or on the page of flagged files the list that is shown.
func (w *Window) save() {
	if w.sheet != nil {
		return
	}
	stamp := w.desktop.Now().Format("2006-01-02 15.04")
	if w.at == pageFiles {
		p := w.files
		if p.model.rows() == 0 {
			here := w.onThisPage()
			w.tellWhile(func() bool { return here() && p.model.rows() == 0 }, checks.Waiting, "The list is empty. Change the text, the rule or the levels above it.")
			return
		}
		n, at := p.model.shown()
		w.saveSheet("Save the list", "As text, or as CSV where the name ends in .csv.", "Loadline list "+stamp+".csv",
			func(path string, out io.Writer) error {
				if isCSV(path) {
					return writeCSV(out, p.report, n, at)
				}
				return writeList(out, p.report, n, at)
			})
		return
	}
	v := w.view()
	switch {
	case w.running == v.stage:
		w.tellWhile(w.whileRunning(), checks.Waiting, "The check is still running. There will be a report to save when it has ended.")
		return
	case v.report == nil:
		w.tellWhile(w.withoutReport(), checks.Waiting, "No report to save yet. Check first.")
		return
	}
	rep := v.report
	w.saveSheet("Save the report", "As text, readable when pasted into a mail; as JSON where the name ends in .json.",
		"Loadline "+string(rep.Stage)+" "+stamp+".txt",
		func(path string, out io.Writer) error {
			if filepath.Ext(path) == ".json" {
				return rep.WriteJSON(out)
			}
			return rep.WriteText(out)
		})
}

// saveSheet asks for a path and writes there, never over a file without asking.
func (w *Window) saveSheet(title, text, name string, write func(string, io.Writer) error) {
	s := &kit.Sheet{Name: "save"}
	s.Field = kit.NewField("Path of the file")
	s.Field.TextStyle = fyne.TextStyle{Monospace: true}
	s.Field.SetText(input.ShowPath(filepath.Join(w.desktop.ReportDir, name)))
	problem := kit.NewParagraph("", kit.SizeBody, kit.ColFail)
	problem.Hide()
	complain := func(text string) {
		problem.Set(text, "")
		problem.Show()
		w.message = text
		s.Fit()
	}
	do := func() {
		path := input.Path(s.Field.Text)
		if path == "" {
			complain("Type the path of the file to write.")
			return
		}
		abs, err := filepath.Abs(path)
		if err != nil {
			complain("This path cannot be used: " + err.Error() + ".")
			return
		}
		// Written beside the window: a million lines take a moment, a share that hangs longer.
		s.Yes.Disable()
		w.writeOut(abs, false, write, func(err error) {
			s.Yes.Enable()
			switch {
			case errors.Is(err, fs.ErrExist):
				w.askOver(abs, title, text, write)
			case err != nil:
				complain(saveProblem(abs, err))
			default:
				w.closeSheet()
				w.wrote(abs)
			}
		})
	}
	s.Field.OnSubmitted = func(string) { do() }
	s.Yes = kit.NewButton(kit.Primary, "", "Save", do)
	s.No = kit.NewButton(kit.Plain, "", "Cancel", func() { w.closeSheet() })
	browse := kit.NewButton(kit.Plain, "folder", "Choose folder…", func() {
		w.desktop.ChooseFolder("Choose where to save", filepath.Dir(input.Path(s.Field.Text)), func(dir string, err error) {
			w.desktop.Post(func() {
				if err == nil && dir != "" && w.sheet == s {
					s.Field.SetText(input.ShowPath(filepath.Join(dir, filepath.Base(input.Path(s.Field.Text)))))
				}
			})
		})
	})
	content := kit.NewColumn(kit.GapMid,
		kit.NewParagraph(title, 18, kit.ColText).Bold(),
		kit.NewParagraph(text, kit.SizeBody, kit.ColMuted),
		s.Field.Framed(), problem,
		kit.NewStretch(10, 1, browse, kit.NewText("", kit.SizeBody, kit.ColText), s.No, s.Yes))
	w.open(s, content, s.Field)
}

// askOver asks before a file is replaced.
func (w *Window) askOver(path, title, text string, write func(string, io.Writer) error) {
	w.ask("overwrite", "This file already exists", names.Quote(path)+" would be replaced. Its current content would be lost.",
		"Replace it", "Keep it", func() {
			w.writeOut(path, true, write, func(err error) {
				if err != nil {
					w.tell(checks.Failed, saveProblem(path, err))
					return
				}
				w.wrote(path)
			})
		})
}

// writeOut writes a file beside the window and tells done how it went.
func (w *Window) writeOut(path string, replace bool, write func(string, io.Writer) error, done func(error)) {
	w.writes.Add(1)
	go func() {
		var err error
		if _, statErr := os.Lstat(path); statErr == nil && !replace {
			err = fs.ErrExist // before a million lines are written for nothing
		} else {
			err = writeFile(path, replace, func(f *os.File) error {
				b := bufio.NewWriterSize(f, 1<<16)
				if err := write(path, b); err != nil {
					return err
				}
				return b.Flush()
			})
		}
		w.writes.Done()
		w.desktop.Post(func() { done(err) })
	}()
}

func (w *Window) wrote(path string) {
	w.saved = path
	w.tell(checks.Passed, "Saved as "+names.Quote(path))
	w.notice.Offer("Open folder", func() {
		if err := w.desktop.Reveal(filepath.Dir(path)); err != nil {
			w.tell(checks.Failed, "No file manager could be opened: "+err.Error())
		}
	})
}

// saveProblem says why a file could not be written and what to do.
func saveProblem(path string, err error) string {
	dir := names.Quote(filepath.Dir(path))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "There is no folder " + dir + ". Choose another one, or create it first."
	case errors.Is(err, fs.ErrPermission):
		return "You may not write in " + dir + ". Choose another folder."
	}
	return "It could not be written: " + err.Error() + ". Choose another folder, or make room."
}
