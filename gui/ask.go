package gui

import (
	"context"
	"errors"
	"path/filepath"
	"strings"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// ask shows a question with two answers. No keeps everything as it is.
func (w *Window) ask(name, title, text string, yes, no string, do func()) {
	s := &kit.Sheet{Name: name}
	s.Yes = kit.NewButton(kit.Primary, "", yes, func() { w.closeSheet(); do() })
	s.No = kit.NewButton(kit.Plain, "", no, w.closeSheet)
	var rows []fyne.CanvasObject
	for part := range strings.SplitSeq(text, "\n") {
		rows = append(rows, kit.NewParagraph(part, kit.SizeBody, kit.ColMuted))
	}
	w.open(s, title, nil, rows...)
}

// open shows a sheet: a title, rows, and at the foot the buttons that end it; one that leads elsewhere may stand
// to their left. A sheet without a No is closed by its button. The keyboard is at its field, else at its No.
func (w *Window) open(s *kit.Sheet, title string, aside *kit.Button, rows ...fyne.CanvasObject) {
	w.closeSheet()
	if s.No == nil {
		s.No = kit.NewButton(kit.Plain, "", "Close", w.closeSheet)
	}
	foot, rest := []fyne.CanvasObject{kit.NewText("", kit.SizeBody, kit.ColText), s.No}, 0
	if aside != nil {
		foot, rest = append([]fyne.CanvasObject{aside}, foot...), 1
	}
	if s.Yes != nil {
		foot = append(foot, s.Yes)
	}
	rows = append([]fyne.CanvasObject{kit.NewParagraph(title, 18, kit.ColText).Bold()}, rows...)
	w.sheet = s
	s.Open(w.win.Canvas(), kit.NewColumn(kit.GapMid, append(rows, kit.NewStretch(10, rest, foot...))...))
}

func (w *Window) closeSheet() {
	if s := w.sheet; s != nil {
		w.sheet = nil
		s.Close()
	}
}

// saveSheet asks where something is to be written.
type saveSheet struct {
	*kit.Sheet
	w       *Window
	problem *kit.Paragraph
}

// askWhere opens one. What is missing is said where no path is typed; write gets a path that is absolute.
func (w *Window) askWhere(name, title, text, hint, missing, proposed string, write func(path string)) *saveSheet {
	s := &saveSheet{Sheet: &kit.Sheet{Name: name}, w: w, problem: kit.NewParagraph("", kit.SizeBody, kit.ColFail)}
	s.problem.Hide()
	s.Field = kit.NewField(hint)
	s.Field.TextStyle = fyne.TextStyle{Monospace: true}
	s.Field.SetText(input.ShowPath(filepath.Join(w.desktop.ReportDir, proposed)))
	do := func() {
		path := input.Path(s.Field.Text)
		if path == "" {
			s.complain(missing)
			return
		}
		abs, err := filepath.Abs(path)
		if err != nil {
			s.complain("This path cannot be used: " + err.Error() + ".")
			return
		}
		write(abs)
	}
	s.Field.OnSubmitted = func(string) { do() }
	s.Yes = kit.NewButton(kit.Primary, "", "Save", do)
	s.No = kit.NewButton(kit.Plain, "", "Cancel", w.closeSheet)
	browse := kit.NewButton(kit.Plain, "folder", "Choose folder…", func() {
		w.choose("Choose where to save", filepath.Dir(input.Path(s.Field.Text)), true, func(dir string) {
			s.Field.SetText(input.ShowPath(filepath.Join(dir, filepath.Base(input.Path(s.Field.Text)))))
		}, func() { s.complain("No dialog could be shown. Type the path.") })
	})
	w.open(s.Sheet, title, browse, kit.NewParagraph(text, kit.SizeBody, kit.ColMuted), s.Field.Framed(), s.problem)
	return s
}

// complain says what is wrong with the path; empty if nothing is.
func (s *saveSheet) complain(problem string) {
	s.problem.Say(problem)
	if problem != "" {
		s.w.message = problem
	}
	s.Fit()
}

// ruleTrialLeft is the rule that a trial folder of an earlier check is on the share. The window
// offers to remove it: it is our own.
const ruleTrialLeft = "trial-left-behind"

// askClean asks before the trial folders of earlier checks are removed from the share.
func (w *Window) askClean() {
	rep := w.view().report
	if rep == nil || rep.Share == nil || w.running != "" {
		return
	}
	folder := rep.Share.Path
	w.ask("clean", "Remove the trial folder?", "An earlier check was cut off and left its trial folder on the share. It is removed only if its marker proves that a check made it and nothing else is in it.",
		"Remove it", "Leave it", func() {
			go func() {
				n, err := removeTrials(context.Background(), folder)
				w.desktop.Post(func() {
					if err != nil {
						w.tell(checks.Warned, "Not removed: "+oneLine(err.Error())+".")
						return
					}
					w.tellWhile(func() bool { return w.view().report == rep }, checks.Passed, checks.Many(int64(n), "trial folder is", "trial folders are")+" removed. Check again.")
				})
			}()
		})
}

// removeTrials removes the trial folders that earlier checks left on a share, and counts them.
func removeTrials(ctx context.Context, folder string) (n int, err error) {
	left, err := share.LeftBehind(ctx, folder)
	if err != nil {
		return 0, err
	}
	var errs []error
	for _, l := range left {
		if err := share.Remove(ctx, l); err != nil {
			errs = append(errs, err)
		} else {
			n++
		}
	}
	return n, errors.Join(errs...)
}
