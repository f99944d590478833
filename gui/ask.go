package gui

import (
	"strings"

	"fyne.io/fyne/v2"
)

// ask shows a question with two answers. No keeps everything as it is.
func (w *Window) ask(name, title, text string, yes, no string, do func()) {
	s := &sheet{name: name}
	s.yes = newButton(primary, "", yes, func() { w.closeSheet(); do() })
	s.no = newButton(plain, "", no, func() { w.closeSheet() })
	rows := []fyne.CanvasObject{newParagraph(title, 18, colText).bold()}
	for part := range strings.SplitSeq(text, "\n") {
		rows = append(rows, newParagraph(part, sizeBody, colMuted))
	}
	rows = append(rows, newStretch(10, 0, newText("", sizeBody, colText), s.no, s.yes))
	w.open(s, newColumn(gapMid, rows...), s.no)
}

func (w *Window) open(s *sheet, content fyne.CanvasObject, first fyne.Focusable) {
	if w.sheet != nil {
		w.sheet.close()
	}
	w.sheet = s
	s.open(w.win.Canvas(), content, first)
}

// closeSheet closes the sheet in front.
func (w *Window) closeSheet() {
	if s := w.sheet; s != nil {
		w.sheet = nil
		s.close()
	}
}
