package kit

import (
	"fyne.io/fyne/v2"
)

// Notice says one thing at the foot of the window until it is shut or something else is said.
type Notice struct {
	Box  *Surface
	mark *Mark
	text *Paragraph
	shut *Button
	more *Button
}

// NewNotice makes a notice that is hidden.
func NewNotice() *Notice {
	n := &Notice{mark: NewMark("note", ColAccent, 18), text: NewParagraph("", SizeBody, ColText)}
	n.shut = NewButton(Quiet, "", "Close", func() { n.Hide() }).WithHeight(28)
	n.more = NewButton(Plain, "", "", nil).WithHeight(28)
	n.more.Hide()
	n.Box = NewSurface(ColInset, ColLine, NewStretch(10, 1, n.mark, n.text, n.more, n.shut)).Pad(14, 9)
	n.Box.Hide()
	return n
}

// Say shows a text with its badge in place of what was said before.
func (n *Notice) Say(b Badge, text string) {
	n.mark.Set(b.Mark, b.Color)
	n.text.Set(text, "")
	n.more.Hide()
	n.Box.Show()
	n.relayout()
}

// Offer adds one thing to do to what is said.
func (n *Notice) Offer(label string, do func()) {
	n.more.Set("", label)
	n.more.OnTapped = do
	n.more.Show()
	n.relayout()
}

func (n *Notice) relayout() {
	if c := fyne.CurrentApp().Driver().CanvasForObject(n.Box); c != nil && c.Content() != nil {
		Relayout(c.Content())
	}
}

// Hide takes it away.
func (n *Notice) Hide() {
	if n.Box.Visible() {
		n.Box.Hide()
		n.relayout()
	}
}
