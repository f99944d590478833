package media

import (
	"encoding/binary"
	"math"
	"slices"
)

// Sources: ISO/IEC 14496-12 §4.2 (box: 32-bit size and type; size 1: a 64-bit size follows; size 0: to
// the end of the file) and §8 (moov, moof, mdat, meta, mfra); QuickTime File Format (wide, pnot, skip).

// isoStarts are the types that a file may begin with.
var isoStarts = []string{"ftyp", "moov", "mdat", "wide", "free", "skip", "styp", "pnot"}

// isoTypes are top-level types of the standards. A box of another type that runs past the end may as
// well be data that was appended to the file and only looks like a box.
var isoTypes = []string{
	"ftyp", "moov", "mdat", "wide", "free", "skip", "styp", "pnot", "moof", "meta", "uuid", "udta", "mfra", "sidx", "ssix",
	"pdin", "prft", "emsg", "meco", "imda", "PICT",
}

// isISO says whether a file that begins with head is ISO base media. "free" and "wide" are words, too:
// text has no zeros, and every first box is smaller than 16 MiB, but for one of media data, or has
// size 1, 64 bits wide.
func isISO(head []byte) bool {
	if len(head) < 8 || !slices.Contains(isoStarts, string(head[4:8])) {
		return false
	}
	size := binary.BigEndian.Uint32(head)
	if string(head[4:8]) == "mdat" {
		return size <= 1 || size >= 8 && slices.Contains(head[8:], 0)
	}
	return head[0] == 0 && (size == 1 || size >= 8)
}

func (s *scan) iso() Verdict {
	var index, media bool // what players need; what they play
	fragments := 0
	for pos := int64(0); pos < s.size; {
		h := s.peek(pos, 16)
		if len(h) < 8 {
			if s.err == nil && !blank(h) && (!media && index || len(h) > 4 && startsLike(h[4:], isoTypes...)) {
				return cutInside("the header of a box")
			}
			break
		}
		size, kind := uint64(binary.BigEndian.Uint32(h)), string(h[4:8])
		known := slices.Contains(isoTypes, kind)
		switch {
		case size == 1 && len(h) < 16:
			if known {
				return cutInside("the header of a box")
			}
			size = 0
		case size == 1:
			size = binary.BigEndian.Uint64(h[8:])
			if size < 16 {
				known, size = false, 0
			}
		case size == 0 && known:
			size = s.left(pos)
		}
		if size < 8 || !fourCC(h[4:]) {
			break // zeros, or data that was appended: no box
		}
		over := size > s.left(pos)
		switch {
		case !over:
		case !known:
			pos = s.size
			continue
		case index && media && slices.Contains([]string{"free", "skip", "wide"}, kind):
			return Verdict{} // what is missing is empty
		case kind == "mdat" && !index && size > math.MaxInt64:
			return noIndex(neverWritten) // no length but a mark, to be overwritten at the end
		default:
			v := cutShort(size - s.left(pos))
			if !index && kind != "moov" && kind != "meta" {
				v.Detail += ", and without the index that players need"
			}
			return v
		}
		switch kind {
		case "moov", "meta":
			index = true
		case "mdat", "imda":
			media = true
		case "moof":
			index = true
			if fragments++; fragments == 2 && s.closedByIndex() {
				return Verdict{}
			}
		}
		pos += int64(size)
	}
	if !index {
		return noIndex(neverWritten)
	}
	return Verdict{}
}

// closedByIndex says whether the file ends with an index of its fragments: mfra, whose last box (mfro)
// holds its size. It is written last, so there is no need to visit thousands of fragments.
func (s *scan) closedByIndex() bool {
	b := s.peek(s.size-16, 16)
	if len(b) < 16 || string(b[:8]) != "\x00\x00\x00\x10mfro" {
		return false
	}
	size := binary.BigEndian.Uint32(b[12:])
	b = s.peek(s.size-int64(size), 8)
	return len(b) == 8 && string(b[4:]) == "mfra" && binary.BigEndian.Uint32(b) == size
}
