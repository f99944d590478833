package kit

import (
	"image/color"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
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
	Base
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
	t := &Text{Text: s, size: size, Color: c, draw: canvas.NewText("", color.Transparent)}
	t.Extend(t)
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

// Measure returns the size of a text as it is drawn.
func Measure(s string, size float32, style fyne.TextStyle) fyne.Size {
	sz, _ := fyne.CurrentApp().Driver().RenderedTextSize(s, size, style, nil)
	return sz
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

// FullWidth is the width of the whole text.
func (t *Text) FullWidth() float32 { return Measure(t.Text, t.size, t.style).Width }

// Place, Least and Parts implement Drawn.
func (t *Text) Place(s fyne.Size) {
	d, was := t.draw, *t.draw
	d.Color, d.TextSize, d.TextStyle, d.Alignment = Paint(t.Color), t.size, t.style, t.align
	d.Text = Fit(t.Text, s.Width, t.cut, func(s string) float32 { return Measure(s, t.size, t.style).Width })
	h := d.MinSize().Height
	SetBounds(d, 0, (s.Height-h)/2, s.Width, h)
	if d.Text != was.Text || d.Color != was.Color {
		d.Refresh()
	}
}

func (t *Text) Least() fyne.Size {
	s := Measure(t.Text, t.size, t.style)
	if t.cut != noCut {
		s.Width = min(s.Width, 24)
	}
	return s
}
func (t *Text) Parts() []fyne.CanvasObject { return []fyne.CanvasObject{t.draw} }

// Paragraph is text that is broken into lines; its height follows from its width.
type Paragraph struct {
	Base
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
	p.Extend(p)
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

// Say shows a text, or where there is none takes the paragraph away.
func (p *Paragraph) Say(s string) {
	p.Set(s, "")
	SetVisible(p, s != "")
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

// Apply forgets how the text was broken: the fonts may be others.
func (p *Paragraph) Apply() { p.known = nil }

// Place fills the lines; those that stay as they are keep what was drawn. Without a height nothing is
// shown.
func (p *Paragraph) Place(s fyne.Size) {
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

// Least and Parts implement Drawn.
func (p *Paragraph) Least() fyne.Size { return fyne.NewSize(40, p.leading()) }

func (p *Paragraph) Parts() []fyne.CanvasObject {
	out := make([]fyne.CanvasObject, len(p.lines))
	for i, l := range p.lines {
		out[i] = l
	}
	return out
}
