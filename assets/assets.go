// Package assets holds the icon, the marks and the fonts, embedded in the program. The fonts are
// under the SIL Open Font License 1.1 (fonts/OFL.txt); the marks are our own.
package assets

import (
	"embed"
	"fmt"
	"strings"
)

//go:embed icon.svg icon.png fonts marks
var files embed.FS

// Names of the fonts. They are made to tell letters apart that look alike, which is what a list of
// file names asks for.
const (
	FontRegular = "AtkinsonHyperlegibleNext-Regular.ttf"
	FontBold    = "AtkinsonHyperlegibleNext-SemiBold.ttf"
	FontMono    = "AtkinsonHyperlegibleMono-Regular.ttf"
)

// Font returns a font file; it panics on a name that is none of the constants.
func Font(name string) []byte { return read("fonts/" + name) }

// Icon returns the icon as a PNG of 512 by 512 pixels.
func Icon() []byte { return read("icon.png") }

// IconSVG returns the icon as it was drawn.
func IconSVG() []byte { return read("icon.svg") }

// Mark returns a mark as SVG with its shape and what is drawn on it in colours written as
// "#rrggbb"; it panics on a name that does not stand in the folder marks.
func Mark(name, shape, on string) []byte {
	s := string(read("marks/" + name + ".svg"))
	return []byte(strings.NewReplacer("#000000", shape, "#ffffff", on).Replace(s))
}

func read(name string) []byte {
	b, err := files.ReadFile(name)
	if err != nil {
		panic(fmt.Sprintf("assets: %v", err))
	}
	return b
}
