package gui

import (
	"fmt"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/gui/kit"
)

// head is the answer: verdict, next step, and the one thing to press.
type head struct {
	box     *fyne.Container
	mark    *kit.Mark
	title   *kit.Text
	next    *kit.Paragraph
	counts  *kit.Drawing
	proof   *kit.Paragraph // how the files were proven; hidden where a stage proves none
	meter   *kit.ProgressBar
	numbers *kit.Text
	running *fyne.Container

	check, stop, files *kit.Button
	more               *kit.Button // what only a demo offers
	side               *kit.Button // leads to a page beside this one; nil for most
	buttons            *fyne.Container
	tally              [4]int64 // by status: good, take care, fix first, not checked
}

func newHead(check, stop, files func()) *head {
	h := &head{
		mark:    kit.NewMark("loadline", kit.ColAccent, 34),
		title:   kit.NewText("", kit.SizeVerdict, kit.ColText).Bold().Truncated(),
		next:    kit.NewParagraph("", kit.SizeBody+1, kit.ColMuted),
		meter:   kit.NewProgressBar(),
		numbers: kit.NewText("", kit.SizeBody, kit.ColText).Truncated(),
		check:   kit.NewButton(kit.Primary, "", "Check before copying", check).WithHeight(42),
		stop:    kit.NewButton(kit.Plain, "stop", "Stop", stop).WithHeight(42),
		files:   kit.NewButton(kit.Plain, "find", "Flagged files", files).WithHeight(42),
	}
	h.more = kit.NewButton(kit.Plain, "", "", nil).WithHeight(42)
	h.more.Hide()
	h.mark.Inner = kit.ColGround
	h.counts = kit.NewDrawing(func(float32) float32 { return 22 }, h.drawCounts)
	// As high as a sentence and the counts, so that nothing below moves when the run ends.
	h.running = kit.NewColumn(5, kit.NewSized(0, 22, h.meter), kit.NewSized(0, 22, h.numbers))
	h.proof = kit.NewParagraph("", kit.SizeBody, kit.ColText)
	h.proof.Hide()
	text := kit.NewColumn(5, h.title, h.next, h.counts, h.proof, h.running)
	h.buttons = kit.NewRow(10, h.more, h.files, h.check, h.stop)
	h.box = kit.Arrange(arrangeHead, func(o []fyne.CanvasObject) fyne.Size {
		return fyne.NewSize(300, max(o[1].MinSize().Height, o[2].MinSize().Height))
	}, h.mark, text, h.buttons)
	h.stop.Hide()
	h.files.Hide()
	h.running.Hide()
	h.counts.Hide()
	return h
}

// say shows a verdict and the next step.
func (h *head) say(l kit.Badge, title, next string) {
	h.mark.Set(l.Mark, l.Color)
	c := kit.ColText
	if l.Mark == "fail" {
		c = kit.ColFail
	}
	h.title.Set(title, c)
	h.next.Set(next, kit.ColMuted)
}

// aside adds a button to a page beside this one.
func (h *head) aside(icon, label string, do func()) {
	h.side = kit.NewButton(kit.Plain, icon, label, do).WithHeight(42)
	h.buttons.Objects = append([]fyne.CanvasObject{h.side}, h.buttons.Objects...)
}

// offer shows a button beside the others; without a label it goes.
func (h *head) offer(label string, do func()) {
	h.more.OnTapped = do
	h.more.Set("", label)
	kit.SetVisible(h.more, label != "")
}

// setRunning switches between Check and Stop, counts and progress.
func (h *head) setRunning(on bool) {
	for o, show := range map[fyne.CanvasObject]bool{h.stop: on, h.running: on, h.check: !on} {
		kit.SetVisible(o, show)
	}
	if on {
		h.counts.Hide()
		h.files.Hide()
		h.more.Hide()
		h.meter.Set(0)
		h.numbers.Set("Starting", "")
	}
}

// setPrimary says whether to check is the next thing to do; else what was found is.
func (h *head) setPrimary(check bool) {
	kinds := [2]kit.ButtonKind{kit.Plain, kit.Primary}
	if check {
		kinds[0], kinds[1] = kinds[1], kinds[0]
	}
	h.check.SetKind(kinds[0])
	h.files.SetKind(kinds[1])
}

// setCounts shows how many checks ended how.
func (h *head) setCounts(results []checks.Result) {
	h.tally = [4]int64{}
	for _, r := range results {
		if int(r.Status) < len(h.tally) {
			h.tally[r.Status]++
		}
	}
	if len(results) == 0 {
		h.counts.Hide()
		return
	}
	h.counts.Show()
	h.counts.Refresh()
}

// prove shows how the files of a report were proven, and what is known of a second copy.
func (h *head) prove(sentences []string) {
	h.proof.Say(strings.Join(sentences, " "))
}

// countWords follow a number of checks, as in the text report.
var countWords = [...]string{checks.Passed: "good", checks.Warned: "to take care of", checks.Failed: "to fix first", checks.Unknown: "not checked"}

func (h *head) drawCounts(p *kit.Pen) {
	x := float32(0)
	for _, s := range []checks.Status{checks.Failed, checks.Warned, checks.Unknown, checks.Passed} {
		n := h.tally[s]
		if n == 0 {
			continue
		}
		l := statusBadge(s)
		p.Mark(x, 3, 16, l.Mark, l.Color)
		x += 22
		x += p.Word(x, 1, 0, fmt.Sprintf("%d %s", n, countWords[s]), kit.SizeBody, l.Color, fyne.TextStyle{Bold: true}) + 20
	}
}

// progress shows how far a run is.
func (h *head) progress(p checks.Progress) {
	if p.Done < 0 {
		h.meter.SetUnknown(1 + p.Elapsed.Seconds()/4)
	} else {
		h.meter.Set(p.Done)
	}
	h.numbers.Set(progressWords(p), "")
}

// progressWords writes entries, bytes, rate and time left, as far as they are known.
func progressWords(p checks.Progress) string {
	parts := []string{}
	if p.Phase != "" {
		parts = append(parts, p.Phase)
	}
	if p.Entries > 0 {
		parts = append(parts, checks.Count(p.Entries)+" entries")
	}
	if p.Bytes > 0 {
		parts = append(parts, checks.Bytes(p.Bytes))
	}
	if p.Rate > 0 { // bytes are read: then nobody counts entries
		parts = append(parts, checks.Rate(p.Rate))
	} else if s := p.Elapsed.Seconds(); s >= 1 && p.Entries > 0 {
		parts = append(parts, checks.Count(int64(float64(p.Entries)/s))+" a second")
	}
	if p.Elapsed >= time.Second {
		parts = append(parts, checks.Span(p.Elapsed.Truncate(time.Second))+" so far")
	}
	if p.Left > 0 {
		parts = append(parts, "about "+checks.Span(p.Left.Round(time.Second))+" left")
	}
	return strings.Join(parts, "  ·  ")
}

const (
	headNarrow = 700
	headText   = 400 // what the text should have beside the buttons
	headIndent = 48  // where the text begins
)

// arrangeHead: mark, text, buttons; where it is narrow the buttons stand under the text.
func arrangeHead(o []fyne.CanvasObject, room fyne.Size, put kit.Put) float32 {
	mark, text, buttons := o[0], o[1], o[2]
	b := buttons.MinSize()
	w := room.Width - headIndent - b.Width - 24
	under := room.Width < headNarrow || w < headText
	if under {
		w = room.Width - headIndent
	}
	h := kit.HeightOf(text, w)
	put(mark, 0, 0, 34, 36)
	put(text, headIndent, 0, w, h)
	if under {
		put(buttons, headIndent, h+8, b.Width, b.Height)
		return h + 8 + b.Height
	}
	put(buttons, room.Width-b.Width, 0, b.Width, b.Height)
	return max(h, b.Height)
}
