package media

import (
	"bytes"
	"encoding/binary"
)

// Sources: ITU-T T.81 §B.1.1 (markers; a 0xFF in coded data is followed by 0, a restart marker or fill,
// so that EOI, FF D9, occurs there only as the end) and §B.2 (segments and scans); ISO/IEC 15948
// (Portable Network Graphics) §5 (chunks) and §11.2.5 (IEND).

const tail = 4 << 10 // of a file, where the end of a picture is looked for first

var endOfImage = []byte{0xFF, 0xD9}

func isJPEG(head []byte) bool {
	return len(head) >= 4 && head[0] == 0xFF && head[1] == 0xD8 && head[2] == 0xFF && head[3] >= 0xC0 && head[3] != 0xFF
}

// jpeg walks the segments up to the first scan, whose data has no length, and looks for the end marker
// behind: first at the end of the file, and if other data was appended there, by reading on.
func (s *scan) jpeg() Verdict {
	pos := int64(2)
	for {
		h := s.peek(pos, 4)
		if len(h) < 2 || h[0] != 0xFF {
			if s.err == nil && len(h) >= 2 {
				return Verdict{} // damaged, but that is not for the structure to tell
			}
			return cutInside("its header")
		}
		marker := h[1]
		switch {
		case marker == 0xFF: // fill
			pos++
			continue
		case marker == 0xD9:
			return Verdict{}
		case marker == 0x01 || marker >= 0xD0 && marker <= 0xD8: // alone
			pos += 2
			continue
		case len(h) < 4:
			return cutInside("its header")
		}
		pos += 2 + int64(binary.BigEndian.Uint16(h[2:]))
		if pos > s.size {
			return cutShort(uint64(pos - s.size))
		}
		if marker == 0xDA {
			break
		}
	}
	near := max(pos, s.size-tail)
	if bytes.Contains(s.peek(near, tail), endOfImage) || s.find(endOfImage, pos, near+1-pos) >= 0 {
		return Verdict{}
	}
	return Verdict{Problem: CutShort, Detail: "ends before the end marker of the picture"}
}

const pngSignature = "\x89PNG\r\n\x1a\n"

var pngEnd = []byte("\x00\x00\x00\x00IEND\xAE\x42\x60\x82")

func (s *scan) png() Verdict {
	if bytes.Contains(s.peek(max(0, s.size-tail), tail), pngEnd) {
		return Verdict{}
	}
	for pos := int64(len(pngSignature)); ; {
		h := s.peek(pos, 8)
		if len(h) < 8 {
			return Verdict{Problem: CutShort, Detail: "ends before the end chunk of the picture (IEND)"}
		}
		if !fourCC(h[4:]) {
			return Verdict{} // damaged, but that is not for the structure to tell
		}
		size := uint64(binary.BigEndian.Uint32(h)) + 12 // length, type and checksum
		if over := size; over > s.left(pos) {
			return cutShort(over - s.left(pos))
		}
		if string(h[4:8]) == "IEND" {
			return Verdict{}
		}
		pos += int64(size)
	}
}
