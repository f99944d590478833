package gui

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/widget"
)

// sheet is a question in front of the window. Escape answers it with no.
type sheet struct {
	name    string // for the trace
	popup   *widget.PopUp
	path    *field
	yes, no *button
	before  fyne.Focusable
	canvas  fyne.Canvas
	closed  func()
}

// measured gives one thing a fixed width and the height that follows.
type measured struct{ w float32 }

func (m *measured) Layout(o []fyne.CanvasObject, s fyne.Size) { place(o[0], 0, 0, s.Width, s.Height) }

func (m *measured) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(m.w, heightOf(o[0], m.w))
}

const sheetWidth = 560

// open shows content and gives focus to first, or to the button that says no.
func (s *sheet) open(c fyne.Canvas, content fyne.CanvasObject, first fyne.Focusable) {
	s.canvas, s.before = c, c.Focused()
	w := min(sheetWidth, c.Size().Width-60)
	body := newInset(20, 18, content)
	s.popup = widget.NewModalPopUp(container.New(&measured{w}, body), c)
	s.popup.Show()
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
		s.popup.Resize(s.popup.MinSize())
		s.popup.Refresh()
	}
}

func (s *sheet) close() {
	if s.popup == nil {
		return
	}
	s.popup.Hide()
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
	s.yes = newButton(primary, "", yes, func() { w.shut(); do() })
	s.no = newButton(plain, "", no, func() { w.shut() })
	content := newColumn(gapMid,
		newParagraph(title, 18, colText).bold(),
		newParagraph(text, sizeBody, colMuted),
		newStretch(10, 0, newText("", sizeBody, colText), s.no, s.yes))
	w.open(s, content, s.no)
}

func (w *Window) open(s *sheet, content fyne.CanvasObject, first fyne.Focusable) {
	if w.sheet != nil {
		w.sheet.close()
	}
	w.sheet = s
	s.open(w.win.Canvas(), content, first)
}

// shut closes the sheet in front.
func (w *Window) shut() {
	if s := w.sheet; s != nil {
		w.sheet = nil
		s.close()
	}
}
