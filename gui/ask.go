package gui

import (
	"strings"

	"fyne.io/fyne/v2"

	"loadline/gui/kit"
)

// ask shows a question with two answers. No keeps everything as it is.
func (w *Window) ask(name, title, text string, yes, no string, do func()) {
	s := &kit.Sheet{Name: name}
	s.Yes = kit.NewButton(kit.Primary, "", yes, func() { w.closeSheet(); do() })
	s.No = kit.NewButton(kit.Plain, "", no, func() { w.closeSheet() })
	rows := []fyne.CanvasObject{kit.NewParagraph(title, 18, kit.ColText).Bold()}
	for part := range strings.SplitSeq(text, "\n") {
		rows = append(rows, kit.NewParagraph(part, kit.SizeBody, kit.ColMuted))
	}
	rows = append(rows, kit.NewStretch(10, 0, kit.NewText("", kit.SizeBody, kit.ColText), s.No, s.Yes))
	w.open(s, kit.NewColumn(kit.GapMid, rows...), s.No)
}

func (w *Window) open(s *kit.Sheet, content fyne.CanvasObject, first fyne.Focusable) {
	if w.sheet != nil {
		w.sheet.Close()
	}
	w.sheet = s
	s.Open(w.win.Canvas(), content, first)
}

// closeSheet closes the sheet in front.
func (w *Window) closeSheet() {
	if s := w.sheet; s != nil {
		w.sheet = nil
		s.Close()
	}
}
