// Package sums makes and holds the digests of one content.
package sums

import (
	"crypto/md5"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"hash/crc32"
)

// Sums are the digests of one file's content. CRC-32C costs a sixtieth of SHA-256 and is always
// there; MD5 costs twice as much as SHA-256 with instructions of its own, so it can be left out.
type Sums struct {
	SHA256 [sha256.Size]byte // FIPS 180-4
	MD5    [md5.Size]byte    // RFC 1321; only if HasMD5
	CRC32C uint32            // RFC 3720 appendix B.4
	HasMD5 bool
}

var Castagnoli = crc32.MakeTable(crc32.Castagnoli)

// A Summer makes the Sums of one stream after the other.
type Summer struct {
	sha hash.Hash
	md5 hash.Hash // nil: leave MD5 out
	crc uint32
}

func New(withMD5 bool) *Summer {
	s := &Summer{sha: sha256.New()}
	if withMD5 {
		s.md5 = md5.New()
	}
	return s
}

// Write takes the next block. MD5, the slowest, runs beside the others.
func (s *Summer) Write(p []byte) {
	if s.md5 == nil {
		s.fast(p)
		return
	}
	if len(p) < besideFrom {
		s.fast(p)
		s.md5.Write(p)
		return
	}
	done := make(chan struct{})
	go func() {
		s.md5.Write(p)
		close(done)
	}()
	s.fast(p)
	<-done
}

// besideFrom is the size from which a goroutine costs little beside the hashing, bytes.
const besideFrom = 256 << 10

func (s *Summer) fast(p []byte) {
	s.sha.Write(p)
	s.crc = crc32.Update(s.crc, Castagnoli, p)
}

// Take returns the sums of what was written and starts anew.
func (s *Summer) Take() Sums {
	var r Sums
	s.sha.Sum(r.SHA256[:0])
	s.sha.Reset()
	r.CRC32C, s.crc = s.crc, 0
	if s.md5 != nil {
		r.HasMD5 = true
		s.md5.Sum(r.MD5[:0])
		s.md5.Reset()
	}
	return r
}

// FromHex reads as many hexadecimal digits as dst takes, no more and no fewer.
func FromHex(dst, src []byte) bool {
	if len(src) != 2*len(dst) {
		return false
	}
	_, err := hex.Decode(dst, src)
	return err == nil
}

// Of returns the sums of a content that is in memory.
func Of(p ...[]byte) Sums {
	s := New(true)
	for _, b := range p {
		s.Write(b)
	}
	return s.Take()
}
