package arrival

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"strings"

	"loadline/checks/internal/sums"
)

// Kind is what a checksum in a listing is.
type Kind uint8

// The kinds.
const (
	NoSum     Kind = iota
	SHA256         // FIPS 180-4
	MD5            // RFC 1321
	CRC32C         // RFC 3720 appendix B.4; base64 holds its four bytes, most significant first
	MultiPart      // a digest of the digests of parts, "HEX-COUNT": says nothing without the parts
	OtherSum       // a digest that is no digest of the content, or of a kind the manifest does not hold
)

// String returns the name that people know it by.
func (k Kind) String() string {
	return [...]string{"no checksum", "SHA-256", "MD5", "CRC-32C", "multi-part tag", "unknown checksum"}[k]
}

func (k Kind) size() int { return [...]int{0, 32, 16, 4, 0, 0}[k] }

// A Digest is one checksum of one row of a listing.
type Digest struct {
	Kind  Kind
	Bytes [32]byte // the first Kind.size() hold
	Tag   bool     // it stands in a column of tags: it may be no MD5 even if it looks like one
}

// ReadDigest reads a checksum as listings hold it: hexadecimal or base64, with or without quotation
// marks, with or without a label before it ("sha256:…"). want is the kind that its column names, or
// NoSum where the column could hold any: then the length decides. A hexadecimal text of 8 digits
// alone could be one of many CRCs, so it is compared only where the column says CRC-32C.
func ReadDigest(text string, want Kind) Digest {
	text = strings.Trim(strings.TrimSpace(text), `"`)
	if text == "" {
		return Digest{}
	}
	if label, rest, ok := strings.Cut(text, ":"); ok {
		named := columnKind(squeeze(label))
		if named == NoSum || want != NoSum && want != named {
			return Digest{Kind: OtherSum}
		}
		want, text = named, rest
	}
	if multiPart(text) {
		return Digest{Kind: MultiPart}
	}
	for _, k := range []Kind{SHA256, MD5, CRC32C} {
		if want != NoSum && want != k {
			continue
		}
		d := Digest{Kind: k}
		n := k.size()
		if sums.FromHex(d.Bytes[:n], []byte(text)) && (k != CRC32C || want == CRC32C) {
			return d
		}
		if len(text) == base64.StdEncoding.EncodedLen(n) {
			raw, err := base64.StdEncoding.Strict().DecodeString(text)
			if err == nil && len(raw) == n && (k != CRC32C || want == CRC32C) {
				copy(d.Bytes[:], raw)
				return d
			}
		}
	}
	return Digest{Kind: OtherSum}
}

// multiPart reports whether a tag is a digest of digests: a digest, a hyphen, the number of parts
// (common practice, no source).
func multiPart(text string) bool {
	at := strings.LastIndexByte(text, '-')
	if at < 6 || at == len(text)-1 || strings.Trim(text[at+1:], "0123456789") != "" {
		return false
	}
	head := text[:at]
	if _, err := base64.StdEncoding.DecodeString(head); err == nil {
		return true
	}
	return strings.Trim(strings.ToLower(head), "0123456789abcdef") == ""
}

// agrees compares a digest with the sums of a file. comparable is false where the manifest does not
// hold this kind.
func (d *Digest) agrees(s *sums.Sums) (comparable, equal bool) {
	switch d.Kind {
	case SHA256:
		return true, d.Bytes == s.SHA256
	case MD5:
		return s.Has&sums.MD5 != 0, bytes.Equal(d.Bytes[:16], s.MD5[:])
	case CRC32C:
		return s.Has&sums.CRC32C != 0, bytes.Equal(d.Bytes[:4], binary.BigEndian.AppendUint32(nil, s.CRC32C))
	}
	return false, false
}
