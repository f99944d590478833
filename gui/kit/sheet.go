package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/theme"
)

// Sheet is a question in front of the window. Escape answers it with no.
type Sheet struct {
	Name    string // for the trace
	popup   *fyne.Container
	box     *Surface
	Field   *Field
	Page    *Page // what Page Up and Page Down turn; nil for none
	Yes, No *Button
	before  fyne.Focusable
	canvas  fyne.Canvas
}

// sheetLayout dims the window and puts the sheet a little above its middle.
type sheetLayout struct{}

func (sheetLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	SetBounds(o[0], 0, 0, s.Width, s.Height)
	w := min(SheetWidth, s.Width-40)
	h := min(HeightOf(o[1], w), s.Height-20)
	SetBounds(o[1], (s.Width-w)/2, max((s.Height-h)*0.42, 10), w, h)
}

func (sheetLayout) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(100, 100) }

// SheetWidth is how wide a sheet is where there is room.
const SheetWidth = 600

// Open shows content, with the keyboard at the field, or else at the button that says no.
func (s *Sheet) Open(c fyne.Canvas, content fyne.CanvasObject) {
	s.canvas, s.before = c, c.Focused()
	s.box = NewSurface(theme.ColorNameOverlayBackground, ColLine, content).Pad(22, 20).Round(14)
	dim := NewSurface(colDim, "", NewText("", SizeBody, ColText)).Round(0)
	s.popup = container.New(sheetLayout{}, dim, s.box)
	s.popup.Resize(c.Size())
	c.Overlays().Add(s.popup)
	if s.Field != nil {
		c.Focus(s.Field)
	} else {
		c.Focus(s.No)
	}
}

// Fit takes over that the content has another height now.
func (s *Sheet) Fit() {
	if s.popup != nil {
		Relayout(s.popup)
	}
}

// Close takes it away and gives the keyboard back.
func (s *Sheet) Close() {
	if s.popup == nil {
		return
	}
	s.canvas.Overlays().Remove(s.popup)
	s.popup = nil
	if s.before != nil {
		s.canvas.Focus(s.before)
	}
}
