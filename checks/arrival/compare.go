package arrival

import (
	"context"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"hash/crc32"
	"maps"
	"path"
	"slices"
	"strings"

	"github.com/minio/crc64nvme"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/arrival/parts"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// compareAll reads the listings once more and compares every row with its file.
func (a *arrival) compareAll(ctx context.Context) error {
	err := a.read(ctx, "Comparing the objects", func(part int, row *listing.Row) error {
		w := where{int32(part), row.At}
		p, found, counted := a.fileOf(row.Key, func(r *archive, i int) {
			if !row.Deleted {
				a.compare(r, i, row, w)
				return
			}
			if r.deleted == nil {
				r.deleted = map[int]where{}
			}
			r.deleted[i] = w
		})
		switch {
		case found || row.Deleted:
		case counted:
			if a.extras++; a.extras <= mostExtraObjects {
				a.named = append(a.named, extra{string(row.Key), string(p), max(row.Size, 0)})
			}
		case len(p) == 0 || p[len(p)-1] == '/':
			a.markers++ // stores show a folder by an empty object (common practice, no source)
		case manifest.IsName(path.Base(string(p))):
			a.own++
		default:
			a.outside++
		}
		return nil
	})
	if err != nil {
		return err
	}
	if a.extras > 0 && a.count(unmatched) > 0 {
		if err := a.otherForms(ctx); err != nil {
			return err
		}
	}
	if a.count(unmatched) == a.files() {
		if a.o.HasPrefix {
			return &listing.Error{
				Err:  fmt.Errorf("none of its keys, with %s taken off, names a file of the manifest: it is the listing of another archive, or the keys begin differently", showHead(a.archives[0].m.keyHead)),
				Hint: "leave the prefix out, and Loadline looks for it",
			}
		}
		return a.anotherArchive()
	}
	for _, r := range a.archives {
		for _, i := range slices.Sorted(maps.Keys(r.deleted)) {
			if r.state[i] != unmatched && r.state[i] != matchedTwice {
				a.flag(r, i, listedTwice, "%s says that it was deleted", a.at(r.deleted[i]))
				r.state[i] = matchedTwice
			}
		}
	}
	return nil
}

// flag records a finding about one file.
func (a *arrival) flag(r *archive, i int, rule *checks.Rule, format string, args ...any) {
	a.pass.Add(checks.Finding{Path: r.x.Path(i), Rule: rule, Level: rule.Level, Size: r.x.Size(i), Detail: fmt.Sprintf(format, args...)})
}

// keyOf is the key that a file should have.
func (r *archive) keyOf(i int) string {
	return r.m.keyHead + strings.TrimPrefix(r.x.Path(i), r.m.pathHead)
}

// compare judges one object against its file.
func (a *arrival) compare(r *archive, i int, row *listing.Row, w where) {
	size := r.x.Size(i)
	r.x.Sums(i, &a.known)
	if !a.keep.SHA256 {
		a.known.SHA256 = [32]byte{}
	}
	v := &a.verdict
	v.judge(row, size, &a.known)
	proven := v.proof()
	before := r.state[i]
	if before != unmatched {
		// An object may be listed twice, in two files or as two versions; then the two must agree.
		one, two := min(r.how[i], proven), max(r.how[i], proven)
		switch {
		case before == matchedTwice || before == matchedBad && v.bad():
			return
		case before == matchedBad || v.bad() || one == byTag && two == byTagMD5:
			r.state[i] = matchedTwice
			a.flag(r, i, listedTwice, "listed again in %s, with different values", a.at(w))
			return
		}
		a.repeated++
	} else {
		r.state[i] = matchedGood
	}
	if row.Modified.After(a.newest) {
		a.newest = row.Modified
	}
	if v.sizeDiffers {
		r.state[i] = matchedBad
		a.flag(r, i, objectSize, "the object has %s bytes, the file has %s (%s)", checks.Count(row.Size), checks.Count(size), a.at(w))
	}
	for _, d := range v.differs {
		r.state[i] = matchedBad
		a.flag(r, i, objectChecksum, "the %s in the listing is %s, the file has %x (%s)", d.Kind, d, sumOf(&a.known, d.Kind), a.at(w))
	}
	if r.state[i] == matchedBad {
		return
	}
	if !r.how[i].content() {
		for _, k := range v.equal {
			a.compared[k]++
		}
	}
	switch {
	case proven == byTag:
		a.tags.differ(r, i, w)
	case v.tagEqual:
		a.tags.equal++
	}
	r.how[i] = max(r.how[i], proven)
	if !r.how[i].content() {
		for _, d := range v.pending {
			a.pending.Add(pendingSum{digest: *d, archive: int32(slices.Index(a.archives, r)), file: int32(i), where: w})
		}
	}
}

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
