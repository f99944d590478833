package gui

import (
	"errors"
	"io"
	"io/fs"
	"path/filepath"

	"loadline/checks"
	"loadline/checks/names"
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
		w.askFile("Save the list", "As text, or as CSV where the name ends in .csv.", "Loadline list "+stamp+".csv",
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
		w.tellWhile(w.whileRunning(), checks.Waiting, "The check is still running. You can save its report when it has finished.")
		return
	case v.report == nil:
		w.tellWhile(w.withoutReport(), checks.Waiting, "No report to save yet. Check first.")
		return
	}
	rep := v.report
	w.askFile("Save the report", "As text, readable when pasted into a mail; as JSON where the name ends in .json.",
		"Loadline "+string(rep.Stage)+" "+stamp+".txt",
		func(path string, out io.Writer) error {
			if filepath.Ext(path) == ".json" {
				return rep.WriteJSON(out)
			}
			return rep.WriteText(out)
		})
}

// askFile asks for a path and writes there, never over a file without asking.
func (w *Window) askFile(title, text, name string, write func(string, io.Writer) error) {
	var s *saveSheet
	s = w.askWhere("save", title, text, "Path of the file", "Type the path of the file to write.", name, func(path string) {
		// Written beside the window: a million lines take a moment, a share that hangs longer.
		s.Yes.Disable()
		w.writeOut(path, false, write, func(err error) {
			s.Yes.Enable()
			switch {
			case errors.Is(err, fs.ErrExist):
				w.askOver(path, write)
			case err != nil:
				s.complain(saveProblem(path, err))
			default:
				w.closeSheet()
				w.wrote(path)
			}
		})
	})
}

func (w *Window) askOver(path string, write func(string, io.Writer) error) {
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
	put := checks.WriteNew
	if replace {
		put = checks.Replace
	}
	w.writes.Add(1)
	go func() {
		err := put(path, func(out io.Writer) error { return write(path, out) })
		w.writes.Done()
		w.desktop.Post(func() { done(err) })
	}()
}

func (w *Window) wrote(path string) {
	w.saved = path
	w.tell(checks.Passed, "Saved as "+names.Quote(path))
	w.notice.Offer("Open folder", func() { w.reveal(filepath.Dir(path)) })
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
	return "It could not be written: " + checks.Reason(err) + ". Choose another folder, or make room."
}
