package gui

import (
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
