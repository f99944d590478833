package seal

import (
	"crypto/md5"
	"crypto/sha256"
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

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// A summer makes the Sums of one stream after the other.
type summer struct {
	sha hash.Hash
	md5 hash.Hash // nil: leave MD5 out
	crc uint32
}

func newSummer(withMD5 bool) *summer {
	s := &summer{sha: sha256.New()}
	if withMD5 {
		s.md5 = md5.New()
	}
	return s
}

// write takes the next block. MD5, the slowest, runs beside the others.
func (s *summer) write(p []byte) {
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

func (s *summer) fast(p []byte) {
	s.sha.Write(p)
	s.crc = crc32.Update(s.crc, castagnoli, p)
}

// take returns the sums of what was written and starts anew.
func (s *summer) take() Sums {
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
