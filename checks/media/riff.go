package media

import (
	"encoding/binary"
	"math"
	"slices"
)

// Sources: Multimedia Programming Interface and Data Specifications 1.0 (Microsoft and IBM, 1991): RIFF,
// WAVE, AVI; OpenDML AVI File Format Extensions 1.02 (1996): further RIFFs of form AVIX; EBU Tech 3306
// (RF64) and ITU-R BS.2088 (BW64): 64-bit sizes in ds64; Audio Interchange File Format 1.3 (Apple, 1989;
// from memory): the same chunks, big-endian.

// slack is by how many bytes the size of a whole form may be too large: writers count its header of 8
// bytes as part of it, or a pad byte that is not there.
const slack = 8

// A form is the outer chunk of a file of chunks.
type form struct {
	s     *scan
	order binary.ByteOrder
	end   uint64 // where it says that it ends; 0 if it does not say
}

// unsaid are sizes that writers leave where they cannot go back to the header, as on a pipe.
func unsaid(size uint32) bool { return size == 0 || size == math.MaxUint32 }

func (s *scan) form(at int64, order binary.ByteOrder) form {
	f := form{s: s, order: order}
	if h := s.peek(at, 8); len(h) == 8 {
		if n := order.Uint32(h[4:]); !unsaid(n) {
			f.end = uint64(at) + 8 + uint64(n)
		}
	}
	return f
}

// over returns how far the form runs past the end of the file.
func (f form) over() uint64 {
	if size := uint64(f.s.size); f.end > size {
		return f.end - size
	}
	return 0
}

// A chunk is one part of a form.
type chunk struct {
	id   string
	at   int64 // of its content
	size uint64
}

// chunk returns the chunk at pos; ok is false where the file ends in its header, and where no chunk stands.
func (f form) chunk(pos int64) (c chunk, ok bool) {
	h := f.s.peek(pos, 8)
	if len(h) < 8 || !fourCC(h) {
		return chunk{}, false
	}
	return chunk{string(h[:4]), pos + 8, uint64(f.order.Uint32(h[4:]))}, true
}

// past returns how far c runs past the end of the file.
func (f form) past(c chunk) uint64 {
	if left := f.s.left(c.at); c.size > left {
		return c.size - left
	}
	return 0
}

// padded are chunks that may follow one of odd length.
var padded = []string{"fmt ", "data", "LIST", "fact", "JUNK", "bext", "iXML", "axml", "chna", "id3 ", "ID3 ", "cue ", "COMM", "SSND", "NAME", "MARK", "idx1"}

// next returns where the chunk after c begins: at an even place. Some writers leave the pad byte out,
// and some do not make it zero.
func (f form) next(c chunk) int64 {
	pos := c.at + int64(c.size)
	if c.size%2 == 0 {
		return pos
	}
	if b := f.s.peek(pos, 5); len(b) == 5 && fourCC(b) && !slices.Contains(padded, string(b[1:])) {
		return pos
	}
	return pos + 1
}

// cut is the verdict on a form that ends early, by the larger of what the chunk and the form itself say.
func (f form) cut(missing uint64) Verdict { return cutShort(max(missing, f.over())) }

// close is the verdict on a form whose chunks up to pos are whole: the rest of them decides whether a
// form that says to be a little longer is only a writer's way of counting.
func (f form) close(pos int64) Verdict {
	over := f.over()
	if over == 0 {
		return Verdict{}
	}
	for over <= slack && pos < f.s.size {
		c, ok := f.chunk(pos)
		if !ok || f.past(c) > 0 {
			return cutShort(over)
		}
		pos = f.next(c)
	}
	if over > slack {
		return cutShort(over)
	}
	return Verdict{}
}

func (s *scan) wave() Verdict {
	var order binary.ByteOrder = binary.LittleEndian
	id := string(s.peek(0, 4))
	if id == "RIFX" {
		order = binary.BigEndian
	}
	f := s.form(0, order)
	var wide ds64
	described, block := false, uint64(1)
	pos := int64(12)
	for pos < s.size {
		c, ok := f.chunk(pos)
		if !ok {
			break
		}
		switch {
		case c.id == "ds64" && id != "RIFF" && !wide.seen:
			wide = f.ds64(c)
			if f.end = 0; wide.form > 0 && wide.form < math.MaxInt64 {
				f.end = 8 + wide.form
			}
		case c.id == "fmt ":
			described = true
			if b := s.peek(c.at, 14); len(b) == 14 {
				block = max(1, uint64(order.Uint16(b[12:])))
			}
		case c.id == "data":
			if wide.seen && c.size == math.MaxUint32 {
				c.size = wide.data
			}
			if !described {
				break
			}
			if unfinished(c.size, block) {
				return Verdict{} // to the end of the file, wherever that is
			}
			if over := f.past(c); over > 0 {
				return f.cut(over)
			}
			return f.close(f.next(c))
		case wide.seen && c.size == math.MaxUint32:
			c.size = wide.size(c.id, c.size)
		}
		if over := f.past(c); over > 0 {
			return f.cut(over)
		}
		pos = f.next(c)
	}
	switch {
	case f.over() > 0:
		return cutShort(f.over())
	case !described:
		return noIndex("the chunk that says how to play the sound (fmt) is missing")
	}
	return noIndex("the chunk with the sound (data) is missing: the recording was not finished")
}

// unfinished says whether a data chunk of size bytes was begun by a writer that could not go back: 0,
// 2^32-1, or the most whole blocks in 0x7FFFF000 bytes, as general audio tools leave it on a pipe.
func unfinished(size, block uint64) bool {
	const unspecified = 0x7FFFF000
	return size == 0 || size == math.MaxUint32 || size == unspecified-unspecified%block
}

// ds64 holds the 64-bit sizes of RF64 and BW64.
type ds64 struct {
	seen       bool
	form, data uint64
	s          *scan
	at         int64 // of the table
	n          uint32
}

func (f form) ds64(c chunk) ds64 {
	b := f.s.peek(c.at, 28)
	if len(b) < 28 || c.size < 28 {
		return ds64{}
	}
	le := binary.LittleEndian
	d := ds64{true, le.Uint64(b), le.Uint64(b[8:]), f.s, c.at + 28, le.Uint32(b[24:])}
	if d.data > math.MaxInt64 {
		d.data = 0 // not said
	}
	return d
}

// size returns the size of a chunk from the table, or otherwise if it is not there. Tables are short:
// an entry a chunk of more than 4 GB.
func (d ds64) size(id string, otherwise uint64) uint64 {
	for i := range int64(min(d.n, 64)) {
		if b := d.s.peek(d.at+12*i, 12); len(b) == 12 && string(b[:4]) == id {
			return binary.LittleEndian.Uint64(b[4:])
		}
	}
	return otherwise
}

func (s *scan) avi() Verdict {
	f := s.form(0, binary.LittleEndian)
	header, frames := false, false
	pos := int64(12)
	for pos < s.size && !frames {
		c, ok := f.chunk(pos)
		if !ok {
			break
		}
		list := ""
		if c.id == "LIST" {
			list = string(s.peek(c.at, 4))
		}
		header = header || list == "hdrl"
		frames = list == "movi"
		if frames && f.end == 0 && unsaid(uint32(c.size)) {
			return noIndex("its lengths and its index were never written: the recording was not finished")
		}
		if over := f.past(c); over > 0 {
			return f.cut(over)
		}
		pos = f.next(c)
	}
	switch {
	case f.over() > 0 && !frames:
		return cutShort(f.over())
	case !header:
		return noIndex("the header that players need (hdrl) is missing")
	case !frames:
		return noIndex("the list of pictures and sound (movi) is missing: the recording was not finished")
	}
	for {
		if v := f.close(pos); v.Problem != "" || f.end == 0 || f.end >= uint64(s.size) {
			return v
		}
		// OpenDML goes on in another RIFF; a form of odd size is padded.
		at := int64(f.end + f.end%2)
		h := s.peek(at, 12)
		switch {
		case len(h) == 12 && string(h[:4]) == "RIFF" && string(h[8:]) == "AVIX":
			f, pos = s.form(at, binary.LittleEndian), at+12
		case len(h) >= 4 && len(h) < 12 && string(h[:4]) == "RIFF":
			return cutInside("the header of a chunk")
		default:
			return Verdict{}
		}
	}
}

func (s *scan) aiff() Verdict {
	f := s.form(0, binary.BigEndian)
	described, samples := false, uint32(1)
	pos := int64(12)
	for pos < s.size {
		c, ok := f.chunk(pos)
		if !ok {
			break
		}
		switch c.id {
		case "COMM":
			if b := s.peek(c.at, 6); len(b) == 6 {
				described, samples = true, binary.BigEndian.Uint32(b[2:])
			}
		case "SSND":
			samples = 0
			if f.end == 0 && unsaid(uint32(c.size)) {
				return Verdict{} // a writer on a pipe: to the end of the file
			}
		}
		if over := f.past(c); over > 0 {
			if f.end > 0 && f.over() == 0 && described && samples == 0 && c.id != "SSND" {
				break // the form itself is whole
			}
			return f.cut(over)
		}
		pos = f.next(c)
		if f.end > 0 && uint64(pos) >= f.end {
			break
		}
	}
	switch {
	case f.over() > slack || f.over() > 0 && (!described || samples > 0):
		return cutShort(f.over())
	case !described:
		return noIndex("the chunk that says how to play the sound (COMM) is missing")
	case samples > 0:
		return noIndex("the chunk with the sound (SSND) is missing: the recording was not finished")
	}
	return f.close(pos)
}
