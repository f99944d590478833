package arrival

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"hash/crc32"

	"github.com/minio/crc64nvme"

	"loadline/checks/arrival/listing"
	"loadline/checks/arrival/parts"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// kindSets are the checksums that a manifest may hold, as kinds of a listing; SHA-256 is always there.
var kindSets = map[listing.Kind]sums.Set{
	listing.MD5: sums.MD5, listing.SHA1: sums.SHA1, listing.CRC32: sums.CRC32, listing.CRC32C: sums.CRC32C, listing.CRC64NVME: sums.CRC64NVME,
}

// sumOf returns the sum of a kind, nil where it is not there.
func sumOf(s *manifest.Sums, k listing.Kind) []byte {
	if k != listing.SHA256 && s.Has&kindSets[k] == 0 {
		return nil
	}
	switch k {
	case listing.SHA256:
		return s.SHA256[:]
	case listing.MD5:
		return s.MD5[:]
	case listing.SHA1:
		return s.SHA1[:]
	case listing.CRC32:
		return binary.BigEndian.AppendUint32(nil, s.CRC32)
	case listing.CRC32C:
		return binary.BigEndian.AppendUint32(nil, s.CRC32C)
	case listing.CRC64NVME:
		return binary.BigEndian.AppendUint64(nil, s.CRC64NVME)
	}
	return nil
}

// newHash makes the hash of a kind.
func newHash(k listing.Kind) func() hash.Hash {
	switch k {
	case listing.SHA256:
		return sha256.New
	case listing.SHA1:
		return sha1.New
	case listing.MD5:
		return md5.New
	case listing.CRC32:
		return func() hash.Hash { return crc32.NewIEEE() }
	case listing.CRC32C:
		return func() hash.Hash { return crc32.New(sums.Castagnoli) }
	case listing.CRC64NVME:
		return func() hash.Hash { return crc64nvme.New() }
	}
	return nil
}

// proof is how an object was proven to be its file, from nothing to its content. Of several the best counts.
type proof uint8

const (
	unproven    proof = iota // it was not found, or differs
	byName                   // the listing is empty but its name
	bySize                   // and its size
	byForeign                // and a checksum of a kind that nobody here can make
	byTag                    // and a tag, which is no MD5 in this store
	byPending                // and a checksum that the disk could prove
	byParts                  // by a checksum of the checksums of its parts, made from the disk
	byTagMD5                 // by the MD5 of its content, which the tag is
	byContent                // by a checksum of its content
	proofStages = iota
)

// content reports whether the content was proven.
func (p proof) content() bool { return p >= byParts }

// A verdict is what one row says of its file.
type verdict struct {
	sizeDiffers          bool
	differs              []*listing.Digest // checksums of the content that are not the file's
	equal                []listing.Kind    // those that are
	pending              []*listing.Digest // those that the disk could prove
	proven               bool              // one that is no tag agrees
	tagEqual, tagDiffers bool
	inParts              bool // a checksum of those of parts: the tag of such an object is no MD5
	foreign              bool // one that cannot be compared
	sized                bool
}

func (v *verdict) judge(row *listing.Row, size int64, s *manifest.Sums) {
	*v = verdict{
		sizeDiffers: row.Size >= 0 && row.Size != size, sized: row.Size >= 0,
		differs: v.differs[:0], equal: v.equal[:0], pending: v.pending[:0],
	}
	for i := range row.Sums {
		d := &row.Sums[i]
		if d.Kind.Size() == 0 {
			v.foreign = true
			continue
		}
		sum := sumOf(s, d.Kind)
		if d.Parts == 1 && sum != nil {
			// All of the object is in one part.
			sum = parts.Combine(newHash(d.Kind), [][]byte{sum})
		}
		switch {
		case d.Parts < 0 || d.Parts > 1 || sum == nil:
			v.pending = append(v.pending, d)
			v.inParts = v.inParts || d.Parts != 0
		case d.Equal(sum):
			v.equal = append(v.equal, d.Kind)
			v.proven = v.proven || !d.Tag
			v.tagEqual = v.tagEqual || d.Tag
		case d.Tag:
			v.tagDiffers = true
		default:
			v.differs = append(v.differs, d)
		}
	}
}

func (v *verdict) bad() bool { return v.sizeDiffers || len(v.differs) > 0 }

// proof is what the row proves, where it is not bad.
func (v *verdict) proof() proof {
	switch {
	case v.proven:
		return byContent
	case v.tagEqual:
		return byTagMD5
	case v.tagDiffers && !v.inParts:
		return byTag
	case len(v.pending) > 0:
		return byPending
	case v.foreign:
		return byForeign
	case v.sized:
		return bySize
	}
	return byName
}
