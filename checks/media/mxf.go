package media

import (
	"bytes"
	"encoding/binary"
)

// Source: SMPTE ST 377-1 §6 (KLV: 16-byte key, BER length), §6.5 (run-in below 64 KiB, which does not
// hold the first 11 bytes of a partition key), §7 (partition packs), §12 (random index pack).

// partitionKey begins the key of every partition pack. The eighth byte is the version of the registry;
// 1 is what the standard prints and writers use.
var partitionKey = []byte{0x06, 0x0E, 0x2B, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0D, 0x01, 0x02, 0x01, 0x01}

var (
	headerKey = append(bytes.Clone(partitionKey), 2)
	footerKey = append(bytes.Clone(partitionKey), footerPack)
	smpte     = partitionKey[:4] // every key begins so
)

const (
	maxRunIn   = 64 << 10
	maxFooter  = 1 << 20 // how far from the end a footer is searched for where nothing points to it
	footerPack = 4       // 14th byte of a partition's key
	indexPack  = 0x11    // of the key of the random index pack
	complete   = 4       // 15th byte of a partition's key: closed and complete
)

// A klv is one key, length and value.
type klv struct {
	key   [16]byte
	value int64 // where it begins
	size  uint64
}

// over returns how far k runs past the end of the file.
func (s *scan) over(k klv) uint64 {
	if left := s.left(k.value); k.size > left {
		return k.size - left
	}
	return 0
}

// klv returns the KLV at pos. Where there is none, ok is false; torn says that one begins there and the
// file ends before its value does.
func (s *scan) klv(pos int64) (k klv, ok, torn bool) {
	h := s.peek(pos, 25)
	if len(h) < len(smpte) || !bytes.Equal(h[:len(smpte)], smpte) {
		return klv{}, false, len(h) > 0 && len(h) < len(smpte) && bytes.HasPrefix(smpte, h)
	}
	if len(h) < 17 {
		return klv{}, false, true
	}
	copy(k.key[:], h)
	b := h[16:]
	n := int(b[0]) // of one byte, or how many bytes follow
	if n < 0x80 {
		k.value, k.size = pos+17, uint64(n)
		return k, true, false
	}
	n -= 0x80
	switch {
	case n == 0 || n > 8:
		return klv{}, false, false
	case len(b) < 1+n:
		return klv{}, false, true
	}
	for _, c := range b[1 : 1+n] {
		k.size = k.size<<8 | uint64(c)
	}
	k.value = pos + 17 + int64(n)
	return k, true, false
}

func (k klv) footer() bool {
	return bytes.Equal(k.key[:7], partitionKey[:7]) && bytes.Equal(k.key[8:13], partitionKey[8:]) && k.key[13] == footerPack
}

func (s *scan) mxf(start int64) Verdict {
	head, ok, torn := s.klv(start)
	if !ok {
		if torn {
			return cutInside("the header partition")
		}
		return Verdict{}
	}
	if over := s.over(head); over > 0 {
		return cutShort(over)
	}
	closed := head.key[14] == complete
	b := s.peek(head.value, 32)
	if len(b) < 32 || head.size < 32 {
		return Verdict{}
	}
	footer := binary.BigEndian.Uint64(b[24:]) // counted from the header partition
	if footer > 0 {
		if left := s.left(start); footer >= left {
			v := cutShort(footer - left)
			v.Detail += ", and without its footer"
			return v
		}
		at := start + int64(footer)
		if k, ok, torn := s.klv(at); ok && k.footer() {
			return s.klvs(at)
		} else if torn {
			return cutInside("the footer")
		}
	}
	if at := s.footer(start); at >= 0 {
		return s.klvs(at)
	}
	if !closed || footer > 0 {
		return noIndex("the footer with the index was never written: the recording was not finished")
	}
	return s.klvs(start)
}

// klvs follows KLVs from pos to the end of the file.
func (s *scan) klvs(pos int64) Verdict {
	for pos < s.size {
		k, ok, torn := s.klv(pos)
		if !ok {
			if torn {
				return cutInside("a KLV header")
			}
			break // padding, or data that was appended
		}
		if over := s.over(k); over > 0 {
			return cutShort(over)
		}
		pos = k.value + int64(k.size)
	}
	return Verdict{}
}

// footer searches for a footer partition that the header does not point to: with the random index pack,
// which is last and ends with its own length, and else near the end of the file.
func (s *scan) footer(start int64) int64 {
	if b := s.peek(s.size-4, 4); len(b) == 4 {
		at := s.size - int64(binary.BigEndian.Uint32(b))
		if k, ok, _ := s.klv(at); ok && k.key[13] == indexPack && k.size >= 16 && s.over(k) == 0 {
			b := s.peek(k.value+int64(k.size)-12, 8) // the offset of the last partition
			if len(b) == 8 {
				if offset := binary.BigEndian.Uint64(b); offset < s.left(start) {
					at = start + int64(offset)
					if k, ok, _ := s.klv(at); ok && k.footer() {
						return at
					}
				}
			}
		}
	}
	return s.find(footerKey, max(start, s.size-maxFooter), maxFooter)
}
