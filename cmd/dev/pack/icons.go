package pack

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/png"

	"github.com/fyne-io/oksvg"
	"github.com/srwiley/rasterx"

	"loadline/assets"
)

// iconSizes are those of the icon theme specification's usual folders, pixels.
var iconSizes = []int{16, 22, 24, 32, 48, 64, 128, 256, 512}

// drawIcon draws the icon anew for a size: a drawing made smaller afterwards is blurred.
func drawIcon(size int) ([]byte, error) {
	icon, err := oksvg.ReadIconStream(bytes.NewReader(assets.IconSVG()), oksvg.StrictErrorMode)
	if err != nil {
		return nil, fmt.Errorf("icon.svg: %w", err)
	}
	icon.SetTarget(0, 0, float64(size), float64(size))
	picture := image.NewRGBA(image.Rect(0, 0, size, size))
	icon.Draw(rasterx.NewDasher(size, size, rasterx.NewScannerGV(size, size, picture, picture.Bounds())), 1)
	var out bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, picture)
	return out.Bytes(), err
}

// icnsKinds are the types of an icon file of macOS that hold a PNG, and the size of each, pixels.
// From Apple's iconutil, as documented on Wikipedia, "Apple Icon Image format"; "file" and icns2png
// know them too.
var icnsKinds = []struct {
	kind string
	size int
}{{"icp4", 16}, {"icp5", 32}, {"ic07", 128}, {"ic08", 256}, {"ic09", 512}, {"ic10", 1024}, {"ic11", 32}, {"ic12", 64}, {"ic13", 256}, {"ic14", 512}}

// icns is the icon as a Mac wants it.
func icns() ([]byte, error) {
	var body bytes.Buffer
	for _, k := range icnsKinds {
		picture, err := drawIcon(k.size)
		if err != nil {
			return nil, err
		}
		body.WriteString(k.kind)
		body.Write(binary.BigEndian.AppendUint32(nil, uint32(8+len(picture))))
		body.Write(picture)
	}
	head := binary.BigEndian.AppendUint32([]byte("icns"), uint32(8+body.Len()))
	return append(head, body.Bytes()...), nil
}
