// Package sums makes and holds the digests of one content.
package sums

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"hash/crc32"

	"github.com/minio/crc64nvme"
)

// A Set says which digests there are besides SHA-256, which is always made.
type Set uint8

// The digests. CRCs cost a sixtieth of SHA-256 each; MD5 costs twice as much as SHA-256 with
// instructions of its own.
const (
	MD5       Set = 1 << iota // RFC 1321
	SHA1                      // FIPS 180-4
	CRC32                     // ISO 3309, as in gzip (RFC 1952)
	CRC32C                    // RFC 3720 appendix B.4
	CRC64NVME                 // NVM Express, "NVM Command Set": polynomial 0x9a6c9329ac4bc9b5, reflected (from memory)

	CRCs = CRC32 | CRC32C | CRC64NVME
)

// Sums are the digests of one file's content. Has says which hold besides SHA-256.
type Sums struct {
	SHA256    [sha256.Size]byte // FIPS 180-4
	MD5       [md5.Size]byte
	SHA1      [sha1.Size]byte
	CRC64NVME uint64
	CRC32     uint32
	CRC32C    uint32
	Has       Set
}

// Castagnoli is the table of CRC-32C.
var Castagnoli = crc32.MakeTable(crc32.Castagnoli)

// A Summer makes the Sums of one stream after the other.
type Summer struct {
	set   Set
	sha   hash.Hash
	md5   hash.Hash // made when it is first wanted
	sha1  hash.Hash
	crc   uint32
	crcC  uint32
	crc64 uint64
}

// New returns a Summer whose first stream gets the digests of a set.
func New(set Set) *Summer {
	s := &Summer{sha: sha256.New()}
	s.Begin(set)
	return s
}

// Begin forgets what was written and begins a stream that gets the digests of a set.
func (s *Summer) Begin(set Set) {
	s.set = set
	s.sha.Reset()
	s.crc, s.crcC, s.crc64 = 0, 0, 0
	if set&MD5 != 0 {
		s.md5 = begun(s.md5, md5.New)
	}
	if set&SHA1 != 0 {
		s.sha1 = begun(s.sha1, sha1.New)
	}
}

func begun(h hash.Hash, make func() hash.Hash) hash.Hash {
	if h == nil {
		return make()
	}
	h.Reset()
	return h
}

// besideFrom is the size from which a goroutine costs little beside the hashing, bytes.
const besideFrom = 128 << 10

// Write takes the next block. MD5, the slowest, runs beside the others.
func (s *Summer) Write(p []byte) {
	switch {
	case s.set&MD5 == 0:
		s.others(p)
	case len(p) < besideFrom:
		s.others(p)
		s.md5.Write(p)
	default:
		done := make(chan struct{})
		go func() {
			s.md5.Write(p)
			close(done)
		}()
		s.others(p)
		<-done
	}
}

func (s *Summer) others(p []byte) {
	s.sha.Write(p)
	if s.set&SHA1 != 0 {
		s.sha1.Write(p)
	}
	if s.set&CRC32 != 0 {
		s.crc = crc32.Update(s.crc, crc32.IEEETable, p)
	}
	if s.set&CRC32C != 0 {
		s.crcC = crc32.Update(s.crcC, Castagnoli, p)
	}
	if s.set&CRC64NVME != 0 {
		s.crc64 = crc64nvme.Update(s.crc64, p)
	}
}

// Sums returns the sums of what was written.
func (s *Summer) Sums() Sums {
	r := Sums{Has: s.set, CRC32: s.crc, CRC32C: s.crcC, CRC64NVME: s.crc64}
	s.sha.Sum(r.SHA256[:0])
	if s.set&MD5 != 0 {
		s.md5.Sum(r.MD5[:0])
	}
	if s.set&SHA1 != 0 {
		s.sha1.Sum(r.SHA1[:0])
	}
	return r
}

// Of returns the sums of a content that is in memory.
func Of(set Set, p ...[]byte) Sums {
	s := New(set)
	for _, b := range p {
		s.Write(b)
	}
	return s.Sums()
}

// FromHex reads as many hexadecimal digits as dst takes, no more and no fewer.
func FromHex(dst, src []byte) bool {
	if len(src) != 2*len(dst) {
		return false
	}
	_, err := hex.Decode(dst, src)
	return err == nil
}
