package gui

import (
	"fmt"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"loadline/checks"
)

// head is the answer: verdict, next step, and the one thing to press.
type head struct {
	box     *fyne.Container
	mark    *mark
	title   *textLine
	next    *paragraph
	counts  *drawing
	meter   *meter
	numbers *textLine
	running *fyne.Container

	check, stop, files *button
	tally              [4]int64 // by status: good, take care, fix first, not checked
}

func newHead(check, stop, files func()) *head {
	h := &head{
		mark:    newMark("loadline", colAccent, 34),
		title:   newText("", sizeVerdict, colText).bold().ends(),
		next:    newParagraph("", sizeBody+1, colMuted),
		meter:   newMeter(),
		numbers: newText("", sizeBody, colText).ends(),
		check:   newButton(primary, "", "Check before copying", check).high(42),
		stop:    newButton(plain, "stop", "Stop", stop).high(42),
		files:   newButton(plain, "find", "Flagged files", files).high(42),
	}
	h.mark.on = colGround
	h.counts = newDrawing(func(float32) float32 { return 22 }, h.drawCounts)
	// As high as a sentence and the counts, so that nothing below moves when the run ends.
	h.running = newColumn(5, newSized(0, 22, h.meter), newSized(0, 22, h.numbers))
	text := newColumn(5, h.title, h.next, h.counts, h.running)
	h.box = container.New(&headLayout{}, h.mark, text, newRow(10, h.files, h.check, h.stop))
	h.stop.Hide()
	h.files.Hide()
	h.running.Hide()
	h.counts.Hide()
	return h
}

// say shows a verdict and the next step.
func (h *head) say(l look, title, next string) {
	h.mark.set(l.mark, l.color)
	c := colText
	if l.mark == "fail" {
		c = colFail
	}
	h.title.set(title, c)
	h.next.set(next, colMuted)
}

// setRunning switches between Check and Stop, counts and progress.
func (h *head) setRunning(on bool) {
	for o, show := range map[fyne.CanvasObject]bool{h.stop: on, h.running: on, h.check: !on} {
		if show {
			o.Show()
		} else {
			o.Hide()
		}
	}
	if on {
		h.counts.Hide()
		h.files.Hide()
		h.meter.set(0)
		h.numbers.set("Starting", "")
	}
}

// setPrimary says whether to check is the next thing to do; else what was found is.
func (h *head) setPrimary(check bool) {
	h.check.setKind(plain)
	h.files.setKind(primary)
	if check {
		h.check.setKind(primary)
		h.files.setKind(plain)
	}
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

// countWords follow a number of checks, as in the text report.
var countWords = [...]string{checks.Passed: "good", checks.Warned: "to take care of", checks.Failed: "to fix first", checks.Unknown: "not checked"}

func (h *head) drawCounts(p *pen) {
	x := float32(0)
	for _, s := range []checks.Status{checks.Failed, checks.Warned, checks.Unknown, checks.Passed} {
		n := h.tally[s]
		if n == 0 {
			continue
		}
		l := lookOf(s)
		p.mark(x, 3, 16, l.mark, l.color)
		x += 22
		x += p.word(x, 1, 0, fmt.Sprintf("%d %s", n, countWords[s]), sizeBody, l.color, fyne.TextStyle{Bold: true}) + 20
	}
}

// progress shows how far a run is.
func (h *head) progress(p checks.Progress) {
	if p.Done < 0 {
		h.meter.wander(1 + p.Elapsed.Seconds()/4)
	} else {
		h.meter.set(p.Done)
	}
	h.numbers.set(progressWords(p), "")
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
	if s := p.Elapsed.Seconds(); s >= 1 && p.Entries > 0 {
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

// headLayout: mark, text, buttons; where it is narrow the buttons stand under the text.
type headLayout struct{}

const headNarrow = 700

func (headLayout) text(o []fyne.CanvasObject, w float32) float32 {
	if w < headNarrow {
		return w - 48
	}
	return w - 48 - o[2].MinSize().Width - 24
}

func (l headLayout) Layout(o []fyne.CanvasObject, s fyne.Size) {
	tw := l.text(o, s.Width)
	th := heightOf(o[1], tw)
	place(o[0], 0, 0, 34, 36)
	place(o[1], 48, 0, tw, th)
	b := o[2].MinSize()
	if s.Width < headNarrow {
		place(o[2], 48, th+8, b.Width, b.Height)
		return
	}
	place(o[2], s.Width-b.Width, 0, b.Width, b.Height)
}

func (l headLayout) heightFor(o []fyne.CanvasObject, w float32) float32 {
	h := heightOf(o[1], l.text(o, w))
	b := o[2].MinSize().Height
	if w < headNarrow {
		return h + 8 + b
	}
	return max(h, b)
}

func (l headLayout) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(300, max(o[1].MinSize().Height, o[2].MinSize().Height))
}
