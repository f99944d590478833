package gui

import (
	"slices"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"

	"loadline/checks"
	"loadline/gui/kit"
)

// Columns of a card's head.
const (
	cardHigh   = 44
	cardTwo    = 60 // title and summary on two lines
	cardWide   = 760
	cardText   = 48 // where the title begins
	cardStatus = 92
	cardPad    = 16
)

// card is one check: a line that opens in place.
type card struct {
	kit.Pressable
	check  *checks.Check
	status checks.Status
	result *checks.Result // nil until it has ended
	doing  string         // what goes on while it runs

	open     bool
	picture  fyne.CanvasObject // a drawing under the line; nil for most
	pictured func() bool       // there is something to draw
	body     fyne.CanvasObject // built when the card opens
	files    *kit.Button       // in the body: to the flagged files
	read     *kit.Button       // in the body: to read the whole disk; nil for most
	disks    []int64           // findings on each of several disks; nil for one
	build    func(*card) fyne.CanvasObject
	toggled  func(*card)
	low      func() bool // the page is low

	ground, ring      *canvas.Rectangle
	mark, arrow       *kit.Mark
	title, says, word *kit.Text
}

func newCard(c *checks.Check) *card {
	k := &card{
		check: c, status: checks.Waiting, ground: kit.NewBox(8), ring: kit.NewBox(8),
		mark: kit.NewMark("waiting", kit.ColIdle, 20), arrow: kit.NewMark("open", kit.ColMuted, 16),
		title: kit.NewText(c.Title, kit.SizeTitle, kit.ColText).Bold().Truncated(),
		says:  kit.NewText("", kit.SizeBody, kit.ColMuted).Truncated(), word: kit.NewText("", kit.SizeBody, kit.ColIdle).Bold().Right(),
	}
	k.OnTapped = func() { k.setOpen(!k.open) }
	k.Extend(k, k.update)
	return k
}

// summary is the text beside the title. Of an open card it stands in the body, whole.
func (k *card) summary() string {
	switch {
	case k.open && k.result != nil:
		return ""
	case k.result != nil:
		if on := whichDisks(k.disks); on != "" {
			return "Flagged on " + on + ". " + k.result.Summary
		}
		return k.result.Summary
	case k.status == checks.Running:
		return k.doing
	}
	return ""
}

func (k *card) headHigh(w float32) float32 {
	if w < cardWide {
		return cardTwo
	}
	return cardHigh
}

func (k *card) HeightFor(w float32) float32 {
	h := k.headHigh(w)
	if p := k.pictureHigh(k.inner(w)); p > 0 {
		h += p + 12
	}
	if k.open && k.body != nil {
		h += kit.HeightOf(k.body, k.inner(w)) + 20
	}
	return h
}

// pictureHigh is how high the drawing is; 0 where there is none to show. On a low page it is left to the
// open card, so that more cards are in view.
func (k *card) pictureHigh(w float32) float32 {
	if k.picture == nil || !k.picture.Visible() || !k.open && k.low != nil && k.low() {
		return 0
	}
	return kit.HeightOf(k.picture, w)
}

func (k *card) inner(w float32) float32 { return w - cardText - cardPad - 24 }

// show takes over what became of the check. It returns whether the height may have changed.
func (k *card) show(s checks.Status, res *checks.Result, doing string) bool {
	if s == k.status && res == k.result && doing == k.doing {
		return false
	}
	grew := (res == nil) != (k.result == nil) || res != k.result && k.open
	if res != k.result {
		k.body = nil
	}
	k.status, k.result, k.doing = s, res, doing
	if res != nil && res.Check != nil {
		k.check = res.Check // a stage may make its checks anew for every run
	}
	k.update()
	return grew
}

// setDisks takes over how many findings there are on each of several disks.
func (k *card) setDisks(n []int64) {
	if slices.Equal(k.disks, n) {
		return
	}
	k.disks, k.body = n, nil
	k.update()
}

// update shows what the fields say now.
func (k *card) update() {
	if k.open && k.body == nil && k.build != nil {
		k.body = k.build(k)
	}
	k.Apply()
	if s := k.Size(); s.Width > 0 {
		k.Place(s)
	}
}

func (k *card) setOpen(on bool) {
	if k.open == on {
		return
	}
	k.open = on
	k.update()
	if k.toggled != nil {
		k.toggled(k)
	}
}

// Tapped opens or shuts the card where its head is pressed.
func (k *card) Tapped(e *fyne.PointEvent) {
	if e == nil || e.Position.Y <= k.headHigh(k.Size().Width) {
		k.Press()
	}
}

// MouseIn, MouseMoved and MouseOut implement desktop.Hoverable.
func (k *card) MouseIn(e *desktop.MouseEvent) { k.MouseMoved(e) }

// MouseMoved shows that the head can be pressed.
func (k *card) MouseMoved(e *desktop.MouseEvent) {
	k.SetHovered(e.Position.Y <= k.headHigh(k.Size().Width))
}

// TypedKey opens and shuts by Return, space, right and left; up and down go to the next card.
func (k *card) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyRight:
		k.setOpen(true)
	case fyne.KeyLeft:
		k.setOpen(false)
	default:
		k.Pressable.TypedKey(e)
	}
}

// Apply, Place, Least and Parts implement kit.Drawn.
func (k *card) Apply() {
	l := statusBadge(k.status)
	k.mark.Set(l.Mark, l.Color)
	titleColor := kit.ColText
	if k.status == checks.Waiting {
		titleColor = kit.ColMuted
	}
	k.title.Set(k.check.Title, titleColor)
	k.says.Set(k.summary(), kit.ColMuted)
	k.word.Set(k.status.Word(), l.Color)
	arrow := "open"
	if k.open {
		arrow = "shut"
	}
	k.arrow.Set(arrow, kit.ColMuted)
	kit.SetFill(k.ground, k.Veil())
	kit.SetStroke(k.ring, kit.ColAccent, k.Ring())
}

func (k *card) Place(s fyne.Size) {
	head := k.headHigh(s.Width)
	kit.SetBounds(k.ground, 3, 3, s.Width-6, head-6)
	kit.SetBounds(k.ring, 2, 2, s.Width-4, head-4)
	kit.SetBounds(k.mark, cardPad, (head-20)/2, 20, 20)
	kit.SetBounds(k.arrow, s.Width-cardPad-16, (head-16)/2, 16, 16)
	right := s.Width - cardPad - 16 - 10
	kit.SetBounds(k.word, right-cardStatus, 0, cardStatus, head)
	text := right - cardStatus - 12 - cardText
	switch {
	case s.Width < cardWide && k.summary() == "":
		kit.SetBounds(k.title, cardText, 0, text, head)
		kit.SetBounds(k.says, cardText, head, text, 0)
	case s.Width < cardWide:
		kit.SetBounds(k.title, cardText, 9, text, 22)
		kit.SetBounds(k.says, cardText, 31, text, 20)
	default:
		t := min(max(text*0.36, 320), text)
		kit.SetBounds(k.title, cardText, 0, t-14, head)
		kit.SetBounds(k.says, cardText+t, 0, text-t, head)
	}
	y := head
	w := k.inner(s.Width)
	if k.picture != nil {
		h := k.pictureHigh(w)
		kit.SetBounds(k.picture, cardText, y, w, h)
		if h > 0 {
			y += h + 12
		}
	}
	if k.open && k.body != nil {
		kit.SetBounds(k.body, cardText, y+4, w, kit.HeightOf(k.body, w))
	}
}

func (k *card) Least() fyne.Size { return fyne.NewSize(260, cardHigh) }

func (k *card) Parts() []fyne.CanvasObject {
	all := []fyne.CanvasObject{k.ground, k.mark, k.title, k.says, k.word, k.arrow, k.ring}
	if k.picture != nil {
		all = append(all, k.picture)
	}
	if k.open && k.body != nil {
		all = append(all, k.body)
	}
	return all
}
