package media

import (
	"bytes"
	"math/bits"
	"slices"
)

// Sources: RFC 8794 (EBML: an ID of up to 4 bytes, a size of up to 8, all ones where it is unknown) and
// RFC 9559 (Matroska: only Segment and Cluster may be of unknown size, as live recordings are).

const (
	idEBML    = 0x1A45DFA3
	idDocType = 0x4282
	idSegment = 0x18538067
	idCluster = 0x1F43B675
)

// ebmlIDs are the elements that stand at the top, in a Segment and in a Cluster. What is none of them
// and runs past the end may as well be data that was appended.
var ebmlIDs = []uint32{
	idEBML, idSegment, idCluster,
	0x114D9B74, 0x1549A966, 0x1654AE6B, 0x1C53BB6B, 0x1941A469, 0x1043A770, 0x1254C367, // SeekHead, Info, Tracks, Cues, Attachments, Chapters, Tags
	0xEC, 0xBF, // Void, CRC-32
	0xE7, 0x5854, 0xA7, 0xAB, 0xA3, 0xA0, 0xAF, // Timestamp, SilentTracks, Position, PrevSize, SimpleBlock, BlockGroup, EncryptedBlock
}

// An element is one header of EBML.
type element struct {
	id      uint32
	data    int64 // where its content begins
	size    uint64
	unknown bool // the size
}

// element returns the element at pos. Where there is none, ok is false; torn says that the file ends in
// the header of one that Matroska knows.
func (s *scan) element(pos int64) (e element, ok, torn bool) {
	h := s.peek(pos, 12)
	if len(h) == 0 {
		return element{}, false, false
	}
	n := bits.LeadingZeros8(h[0]) + 1
	if n > 4 {
		return element{}, false, false
	}
	if n >= len(h) {
		return element{}, false, beginsID(h)
	}
	for _, c := range h[:n] {
		e.id = e.id<<8 | uint32(c)
	}
	h = h[n:]
	m := bits.LeadingZeros8(h[0]) + 1
	switch {
	case m > 8:
		return element{}, false, false
	case m > len(h):
		return element{}, false, slices.Contains(ebmlIDs, e.id)
	}
	ones := true
	for i, c := range h[:m] {
		if i == 0 {
			c &= 0xFF >> m
			ones = c == 0xFF>>m
		} else {
			ones = ones && c == 0xFF
		}
		e.size = e.size<<8 | uint64(c)
	}
	e.data, e.unknown = pos+int64(n+m), ones
	return e, true, false
}

// beginsID says whether b, the last bytes of a file, is an ID without its size or the beginning of one.
func beginsID(b []byte) bool {
	for _, id := range ebmlIDs {
		var whole []byte
		for shift := (bits.Len32(id) - 1) / 8 * 8; shift >= 0; shift -= 8 {
			whole = append(whole, byte(id>>shift))
		}
		if bytes.HasPrefix(whole, b) {
			return true
		}
	}
	return false
}

// isMatroska says whether a file begins with an EBML header of Matroska or WebM. Others use EBML, too.
func isMatroska(head []byte) bool {
	if !bytes.HasPrefix(head, []byte{0x1A, 0x45, 0xDF, 0xA3}) {
		return false
	}
	head = head[:min(len(head), 256)]
	_, text, ok := bytes.Cut(head, []byte{idDocType >> 8, idDocType & 0xFF})
	if !ok || len(text) == 0 {
		return len(head) < 256 // cut off before it says
	}
	text = text[min(bits.LeadingZeros8(text[0])+1, len(text)):]
	return len(text) == 0 || startsLike(text, "matroska", "webm")
}

func (s *scan) matroska() Verdict {
	const unfinished = "no cluster of pictures or sound was written: the recording was not finished"
	clusters := false
	end := s.size // of the segment that is looked at
	for pos := int64(0); pos < end; {
		e, ok, torn := s.element(pos)
		if !ok {
			if torn {
				return cutInside("the header of an element")
			}
			if s.err == nil && pos < end && end < s.size && !clusters {
				return Verdict{} // damaged, but of the right length
			}
			break // padding, or data that was appended
		}
		left := s.left(e.data)
		switch {
		case e.id == idSegment && !e.unknown:
			if e.size > left {
				return cutShort(e.size - left)
			}
			if clusters {
				return Verdict{}
			}
			pos, end = e.data, e.data+int64(e.size)
			continue
		case e.id == idSegment:
			pos = e.data
			continue
		case e.id == idCluster:
			if clusters = true; end < s.size {
				return Verdict{}
			}
			if e.unknown {
				pos = e.data
				continue
			}
		}
		switch {
		case e.unknown: // not allowed: nobody can tell what follows
			pos = end
			continue
		case e.size <= left:
		case slices.Contains(ebmlIDs, e.id):
			return cutShort(e.size - left)
		default:
			pos = end
			continue
		}
		pos = e.data + int64(e.size)
	}
	if !clusters {
		return noIndex(unfinished)
	}
	return Verdict{}
}
