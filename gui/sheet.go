package gui

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/theme"
)

// sheet is a question in front of the window. Escape answers it with no.
type sheet struct {
	name    string // for the trace
	popup   *fyne.Container
	box     *surface
	path    *field
	scroll  *container.Scroll // what Page Up and Page Down turn; nil for none
	yes, no *button
	before  fyne.Focusable
	canvas  fyne.Canvas
	closed  func()
}

// sheetLayout dims the window and puts the sheet a little above its middle.
type sheetLayout struct{}

func (sheetLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	setBounds(o[0], 0, 0, s.Width, s.Height)
	w := min(sheetWidth, s.Width-40)
	h := min(heightOf(o[1], w), s.Height-20)
	setBounds(o[1], (s.Width-w)/2, max((s.Height-h)*0.42, 10), w, h)
}

func (sheetLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(100, 100) }

const sheetWidth = 600

// open shows content and gives focus to first, or to the button that says no.
func (s *sheet) open(c fyne.Canvas, content fyne.CanvasObject, first fyne.Focusable) {
	s.canvas, s.before = c, c.Focused()
	s.box = newSurface(theme.ColorNameOverlayBackground, colLine, content).pad(22, 20).round(14)
	dim := newSurface(colDim, "", newText("", sizeBody, colText)).round(0)
	s.popup = container.New(sheetLayout{}, dim, s.box)
	s.popup.Resize(c.Size())
	c.Overlays().Add(s.popup)
	switch {
	case first != nil:
		c.Focus(first)
	case s.no != nil:
		c.Focus(s.no)
	}
}

// fit takes over that the content has another height now.
func (s *sheet) fit() {
	if s.popup != nil {
		relayout(s.popup)
		s.popup.Refresh()
	}
}

func (s *sheet) close() {
	if s.popup == nil {
		return
	}
	s.canvas.Overlays().Remove(s.popup)
	s.popup = nil
	if s.before != nil {
		s.canvas.Focus(s.before)
	}
	if s.closed != nil {
		s.closed()
	}
}

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
