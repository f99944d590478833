package gui

import (
	"fyne.io/fyne/v2"
)

// notice says one thing at the foot of the window until it is shut or something else is said.
type notice struct {
	box  *surface
	mark *mark
	text *paragraph
	shut *button
	more *button
}

func newNotice() *notice {
	n := &notice{mark: newMark("note", colAccent, 18), text: newParagraph("", sizeBody, colText)}
	n.shut = newButton(quiet, "", "Close", func() { n.hide() }).high(28)
	n.more = newButton(plain, "", "", nil).high(28)
	n.more.Hide()
	n.box = newSurface(colInset, colLine, newStretch(10, 1, n.mark, n.text, n.more, n.shut)).pad(14, 9)
	n.box.Hide()
	return n
}

// say shows a text with its badge in place of what was said before.
func (n *notice) say(b badge, text string) {
	n.mark.set(b.mark, b.color)
	n.text.set(text, "")
	n.more.Hide()
	n.box.Show()
	n.relayout()
}

// offer adds one thing to do to what is said.
func (n *notice) offer(label string, do func()) {
	n.more.set("", label)
	n.more.tap = do
	n.more.Show()
	n.relayout()
}

func (n *notice) relayout() {
	if c := fyne.CurrentApp().Driver().CanvasForObject(n.box); c != nil && c.Content() != nil {
		relayout(c.Content())
		c.Content().Refresh()
	}
}

func (n *notice) hide() {
	if n.box.Visible() {
		n.box.Hide()
		n.relayout()
	}
}
