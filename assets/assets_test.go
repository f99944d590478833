package assets

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"io/fs"
	"path"
	"strings"
	"testing"
)

// The icon is a square PNG of 512 pixels, and its drawing is well-formed XML.
func TestIcon(t *testing.T) {
	c, err := png.DecodeConfig(bytes.NewReader(Icon()))
	if err != nil || c.Width != 512 || c.Height != 512 {
		t.Errorf("%+v, %v", c, err)
	}
	wellFormed(t, "icon.svg", IconSVG())
}

// Every mark is well-formed, and takes on the colours that it is given.
func TestMarks(t *testing.T) {
	all, err := fs.ReadDir(files, "marks")
	if err != nil || len(all) < 10 {
		t.Fatalf("%d marks, %v", len(all), err)
	}
	for _, e := range all {
		b := Mark(strings.TrimSuffix(e.Name(), ".svg"), "#123456", "#abcdef")
		wellFormed(t, e.Name(), b)
		if !bytes.Contains(b, []byte("#123456")) || bytes.Contains(b, []byte("#000000")) || bytes.Contains(b, []byte("#ffffff")) {
			t.Errorf("%s does not take on its colours", e.Name())
		}
	}
}

// The fonts are there as TrueType (magic number 00 01 00 00, ISO/IEC 14496-22), with their licence.
func TestFonts(t *testing.T) {
	for _, n := range []string{FontRegular, FontBold, FontMono} {
		if b := Font(n); !bytes.HasPrefix(b, []byte{0, 1, 0, 0}) {
			t.Errorf("%s begins with % x", n, b[:4])
		}
	}
	b, err := fs.ReadFile(files, path.Join("fonts", "OFL.txt"))
	if err != nil || !bytes.Contains(b, []byte("SIL OPEN FONT LICENSE Version 1.1")) {
		t.Errorf("the licence of the fonts is missing: %v", err)
	}
}

func wellFormed(t *testing.T, name string, b []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
	}
}
