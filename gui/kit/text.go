package kit

import (
	"image/color"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// elide says where a text that is too wide is cut.
type elide uint8

const (
	noCut elide = iota
	CutEnd
	CutMiddle // for paths: both ends say something
)

// Text is one line of text in a colour of the theme, without the padding of a label.
type Text struct {
	widget.BaseWidget
	Text  string
	Color fyne.ThemeColorName
	size  float32
	style fyne.TextStyle
	align fyne.TextAlign
	cut   elide
	draw  *canvas.Text
}

// NewText makes one line of text.
func NewText(s string, size float32, c fyne.ThemeColorName) *Text {
	t := &Text{Text: s, size: size, Color: c}
	t.ExtendBaseWidget(t)
	return t
}

// Bold, Mono, Truncated and Right set how it is drawn; they return the text itself.
func (t *Text) Bold() *Text      { t.style.Bold = true; return t }
func (t *Text) Mono() *Text      { t.style.Monospace = true; return t }
func (t *Text) Truncated() *Text { t.cut = CutEnd; return t }
func (t *Text) Right() *Text     { t.align = fyne.TextAlignTrailing; return t }

// Set changes text and, if not empty, colour; it draws only what changed.
func (t *Text) Set(s string, c fyne.ThemeColorName) {
	if c == "" {
		c = t.Color
	}
	if s == t.Text && c == t.Color {
		return
	}
	t.Text, t.Color = s, c
	t.Refresh()
}

// CreateRenderer implements fyne.Widget.
func (t *Text) CreateRenderer() fyne.WidgetRenderer {
	t.draw = canvas.NewText("", Paint(t.Color))
	r := &textRenderer{t}
	r.apply(t.Size().Width)
	return r
}

type textRenderer struct{ t *Text }

// Measure returns the size of a text as it is drawn.
func Measure(s string, size float32, style fyne.TextStyle) fyne.Size {
	sz, _ := fyne.CurrentApp().Driver().RenderedTextSize(s, size, style, nil)
	return sz
}

// apply takes over what is to be shown at a width, and tells whether that is something else.
func (r *textRenderer) apply(w float32) bool {
	t := r.t
	was := *t.draw
	t.draw.Color, t.draw.TextSize, t.draw.TextStyle, t.draw.Alignment = Paint(t.Color), t.size, t.style, t.align
	t.draw.Text = Fit(t.Text, w, t.cut, func(s string) float32 { return Measure(s, t.size, t.style).Width })
	return t.draw.Text != was.Text || t.draw.Color != was.Color
}

// Fit cuts a text to a width. It cuts between runes and needs a dozen measurements at most.
func Fit(s string, w float32, cut elide, width func(string) float32) string {
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
	if cut == CutEnd {
		return strings.TrimRight(string(runes[:keep]), " .,;:") + "…"
	}
	tail := keep * 3 / 5
	return string(runes[:keep-tail]) + "…" + string(runes[len(runes)-tail:])
}

func (r *textRenderer) Layout(s fyne.Size) {
	changed := r.apply(s.Width)
	h := r.t.draw.MinSize().Height
	SetBounds(r.t.draw, 0, (s.Height-h)/2, s.Width, h)
	if changed {
		r.t.draw.Refresh()
	}
}

func (r *textRenderer) MinSize() fyne.Size {
	s := Measure(r.t.Text, r.t.size, r.t.style)
	if r.t.cut != noCut {
		s.Width = min(s.Width, 24)
	}
	return s
}

func (r *textRenderer) Refresh()                     { r.Layout(r.t.Size()) }
func (r *textRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.t.draw} }
func (r *textRenderer) Destroy()                     {}

// Paragraph is text that is broken into lines; its height follows from its width.
type Paragraph struct {
	widget.BaseWidget
	Text  string
	Color fyne.ThemeColorName
	size  float32
	style fyne.TextStyle
	most  int // lines; 0 for any number
	lines []*canvas.Text
	known map[brokenKey][]string
}

// NewParagraph makes text that wraps.
func NewParagraph(s string, size float32, c fyne.ThemeColorName) *Paragraph {
	p := &Paragraph{Text: s, size: size, Color: c}
	p.ExtendBaseWidget(p)
	return p
}

// Bold and Mono set how it is drawn; they return the paragraph itself.
func (p *Paragraph) Bold() *Paragraph { p.style.Bold = true; return p }
func (p *Paragraph) Mono() *Paragraph { p.style.Monospace = true; return p }

// AtMost cuts what needs more lines out of the middle of the text.
func (p *Paragraph) AtMost(lines int) *Paragraph { p.most = lines; return p }

// wrapped returns the lines of the text at a width.
func (p *Paragraph) wrapped(w float32) []string {
	width := func(s string) float32 { return Measure(s, p.size, p.style).Width }
	lines := wrap(p.Text, w, width)
	if p.most == 0 || len(lines) <= p.most {
		return lines
	}
	runes := []rune(p.Text)
	keep, over := 0, min(len(runes), 400*p.most)
	for keep+1 < over {
		mid := (keep + over) / 2
		if len(wrap(cutRunes(runes, mid, CutMiddle), w, width)) <= p.most {
			keep = mid
		} else {
			over = mid
		}
	}
	return wrap(cutRunes(runes, keep, CutMiddle), w, width)
}

// Set changes text and, if not empty, colour.
func (p *Paragraph) Set(s string, c fyne.ThemeColorName) {
	if c == "" {
		c = p.Color
	}
	if s != p.Text || c != p.Color {
		p.Text, p.Color = s, c
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

func (p *Paragraph) leading() float32 {
	return Measure("Ag", p.size, p.style).Height + 2
}

// HeightFor returns the height of all lines at a width; 0 for no text.
func (p *Paragraph) HeightFor(w float32) float32 {
	if p.Text == "" {
		return 0
	}
	return float32(len(p.broken(w))) * p.leading()
}

// broken returns the lines of the text at a width; those of the last few widths are remembered.
func (p *Paragraph) broken(w float32) []string {
	key := brokenKey{p.Text, w}
	if lines, ok := p.known[key]; ok {
		return lines
	}
	if p.known == nil || len(p.known) >= 4 {
		p.known = map[brokenKey][]string{}
	}
	lines := p.wrapped(w)
	p.known[key] = lines
	return lines
}

type brokenKey struct {
	text  string
	width float32
}

// flow fills the lines; those that stay as they are keep what was drawn. Without a height nothing is
// shown.
func (p *Paragraph) flow(s fyne.Size) {
	var lines []string
	if s.Width > 0 && s.Height > 0 && p.Text != "" {
		lines = p.broken(s.Width)
	}
	h := p.leading()
	for i, line := range lines {
		if i == len(p.lines) {
			c := canvas.NewText("", color.Transparent)
			c.TextSize, c.TextStyle = p.size, p.style
			p.lines = append(p.lines, c)
		}
		c := p.lines[i]
		SetBounds(c, 0, float32(i)*h, s.Width, h)
		if fill := Paint(p.Color); c.Text != line || c.Color != fill {
			c.Text, c.Color = line, fill
			c.Refresh()
		}
	}
	if len(lines) < len(p.lines) {
		p.lines = p.lines[:len(lines)]
		Repaint(p)
	}
}

// CreateRenderer implements fyne.Widget.
func (p *Paragraph) CreateRenderer() fyne.WidgetRenderer { return &paragraphRenderer{p} }

type paragraphRenderer struct{ p *Paragraph }

func (r *paragraphRenderer) Layout(s fyne.Size) { r.p.flow(s) }
func (r *paragraphRenderer) MinSize() fyne.Size { return fyne.NewSize(40, r.p.leading()) }
func (r *paragraphRenderer) Destroy()           {}
func (r *paragraphRenderer) Refresh()           { r.p.known = nil; r.p.flow(r.p.Size()) }
func (r *paragraphRenderer) Objects() []fyne.CanvasObject {
	out := make([]fyne.CanvasObject, len(r.p.lines))
	for i, l := range r.p.lines {
		out[i] = l
	}
	return out
}

// FullWidth is the width of the whole text.
func (t *Text) FullWidth() float32 { return Measure(t.Text, t.size, t.style).Width }
