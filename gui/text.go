package gui

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// elide says where a text that is too wide is cut.
type elide uint8

const (
	noCut elide = iota
	cutEnd
	cutMiddle // for paths: both ends say something
)

// textLine is one line of text in a colour of the theme, without the padding of a label.
type textLine struct {
	widget.BaseWidget
	text  string
	color fyne.ThemeColorName
	size  float32
	style fyne.TextStyle
	align fyne.TextAlign
	cut   elide
	draw  *canvas.Text
}

func newText(s string, size float32, c fyne.ThemeColorName) *textLine {
	t := &textLine{text: s, size: size, color: c}
	t.ExtendBaseWidget(t)
	return t
}

func (t *textLine) bold() *textLine      { t.style.Bold = true; return t }
func (t *textLine) mono() *textLine      { t.style.Monospace = true; return t }
func (t *textLine) truncated() *textLine { t.cut = cutEnd; return t }
func (t *textLine) right() *textLine     { t.align = fyne.TextAlignTrailing; return t }

// set changes text and, if not empty, colour; it draws only what changed.
func (t *textLine) set(s string, c fyne.ThemeColorName) {
	if c == "" {
		c = t.color
	}
	if s == t.text && c == t.color {
		return
	}
	t.text, t.color = s, c
	t.Refresh()
}

// CreateRenderer implements fyne.Widget.
func (t *textLine) CreateRenderer() fyne.WidgetRenderer {
	t.draw = canvas.NewText("", paint(t.color))
	r := &textRenderer{t}
	r.apply(t.Size().Width)
	return r
}

type textRenderer struct{ t *textLine }

func measure(s string, size float32, style fyne.TextStyle) fyne.Size {
	sz, _ := fyne.CurrentApp().Driver().RenderedTextSize(s, size, style, nil)
	return sz
}

func (r *textRenderer) apply(w float32) {
	t := r.t
	t.draw.Color, t.draw.TextSize, t.draw.TextStyle, t.draw.Alignment = paint(t.color), t.size, t.style, t.align
	t.draw.Text = fit(t.text, w, t.cut, func(s string) float32 { return measure(s, t.size, t.style).Width })
}

// fit cuts a text to a width. It cuts between runes and needs a dozen measurements at most.
func fit(s string, w float32, cut elide, width func(string) float32) string {
	if cut == noCut || w <= 0 || s == "" || width(s) <= w {
		return s
	}
	runes := []rune(s)
	lo, hi := 0, len(runes)
	// No line of ours is 400 runes wide: measuring a path of 4,095 bytes again and again is not
	// needed to know that it does not fit.
	if hi > 400 {
		hi = 400
	}
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if width(cutRunes(runes, mid, cut)) <= w {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return cutRunes(runes, lo, cut)
}

func cutRunes(runes []rune, keep int, cut elide) string {
	if cut == cutEnd {
		return strings.TrimRight(string(runes[:keep]), " .,;:") + "…"
	}
	tail := keep * 3 / 5
	return string(runes[:keep-tail]) + "…" + string(runes[len(runes)-tail:])
}

func (r *textRenderer) Layout(s fyne.Size) {
	r.apply(s.Width)
	h := r.t.draw.MinSize().Height
	r.t.draw.Move(fyne.NewPos(0, (s.Height-h)/2))
	r.t.draw.Resize(fyne.NewSize(s.Width, h))
	r.t.draw.Refresh()
}

func (r *textRenderer) MinSize() fyne.Size {
	s := measure(r.t.text, r.t.size, r.t.style)
	if r.t.cut != noCut {
		s.Width = min(s.Width, 24)
	}
	return s
}

func (r *textRenderer) Refresh()                     { r.apply(r.t.Size().Width); r.t.draw.Refresh() }
func (r *textRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.t.draw} }
func (r *textRenderer) Destroy()                     {}

// paragraph is text that is broken into lines; its height follows from its width.
type paragraph struct {
	widget.BaseWidget
	text  string
	color fyne.ThemeColorName
	size  float32
	style fyne.TextStyle
	most  int // lines; 0 for any number
	lines []*canvas.Text
	width float32
}

func newParagraph(s string, size float32, c fyne.ThemeColorName) *paragraph {
	p := &paragraph{text: s, size: size, color: c}
	p.ExtendBaseWidget(p)
	return p
}

func (p *paragraph) bold() *paragraph { p.style.Bold = true; return p }
func (p *paragraph) mono() *paragraph { p.style.Monospace = true; return p }

// atMost cuts what needs more lines out of the middle of the text.
func (p *paragraph) atMost(lines int) *paragraph { p.most = lines; return p }

// wrapped returns the lines of the text at a width.
func (p *paragraph) wrapped(w float32) []string {
	width := func(s string) float32 { return measure(s, p.size, p.style).Width }
	lines := wrap(p.text, w, width)
	if p.most == 0 || len(lines) <= p.most {
		return lines
	}
	runes := []rune(p.text)
	keep, over := 0, min(len(runes), 400*p.most)
	for keep+1 < over {
		mid := (keep + over) / 2
		if len(wrap(cutRunes(runes, mid, cutMiddle), w, width)) <= p.most {
			keep = mid
		} else {
			over = mid
		}
	}
	return wrap(cutRunes(runes, keep, cutMiddle), w, width)
}

func (p *paragraph) set(s string, c fyne.ThemeColorName) {
	if c == "" {
		c = p.color
	}
	if s != p.text || c != p.color {
		p.text, p.color, p.width = s, c, 0
		p.Refresh()
	}
}

// wrap breaks at spaces, after "/" in paths, and anywhere where a word is wider than the line.
func wrap(s string, w float32, width func(string) float32) []string {
	var out []string
	for _, line := range strings.Split(s, "\n") {
		at, rest := "", line
		for rest != "" {
			n := strings.IndexAny(rest, " /")
			word := rest
			if n >= 0 {
				word = rest[:n+1]
			}
			rest = rest[len(word):]
			for width(strings.TrimRight(at+word, " ")) > w {
				if at != "" {
					out = append(out, strings.TrimRight(at, " "))
					at = ""
					continue
				}
				keep := 1
				runes := []rune(word)
				for keep < len(runes) && width(string(runes[:keep+1])) <= w {
					keep++
				}
				if keep >= len(runes) {
					break
				}
				out = append(out, string(runes[:keep]))
				word = string(runes[keep:])
			}
			at += word
		}
		out = append(out, strings.TrimRight(at, " "))
	}
	return out
}

func (p *paragraph) leading() float32 {
	return measure("Ag", p.size, p.style).Height + 2
}

func (p *paragraph) HeightFor(w float32) float32 {
	if p.text == "" {
		return 0
	}
	p.flow(w)
	return float32(len(p.lines)) * p.leading()
}

func (p *paragraph) flow(w float32) {
	if w == p.width && len(p.lines) > 0 || w <= 0 {
		return
	}
	p.width = w
	p.lines = p.lines[:0]
	h := p.leading()
	for i, s := range p.wrapped(w) {
		c := canvas.NewText(s, paint(p.color))
		c.TextSize, c.TextStyle = p.size, p.style
		c.Move(fyne.NewPos(0, float32(i)*h))
		c.Resize(fyne.NewSize(w, h))
		p.lines = append(p.lines, c)
	}
}

// CreateRenderer implements fyne.Widget.
func (p *paragraph) CreateRenderer() fyne.WidgetRenderer { return &paragraphRenderer{p} }

type paragraphRenderer struct{ p *paragraph }

func (r *paragraphRenderer) Layout(s fyne.Size) { r.p.flow(s.Width) }
func (r *paragraphRenderer) MinSize() fyne.Size {
	return fyne.NewSize(40, r.p.leading())
}

func (r *paragraphRenderer) Refresh() {
	r.p.width = 0
	r.p.flow(r.p.Size().Width)
	for _, l := range r.p.lines {
		l.Refresh()
	}
}

func (r *paragraphRenderer) Objects() []fyne.CanvasObject {
	out := make([]fyne.CanvasObject, len(r.p.lines))
	for i, l := range r.p.lines {
		out[i] = l
	}
	return out
}
func (r *paragraphRenderer) Destroy() {}

// full is the width of the whole text.
func (t *textLine) full() float32 { return measure(t.text, t.size, t.style).Width }
