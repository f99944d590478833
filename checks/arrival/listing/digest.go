package listing

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"strconv"
	"strings"
)

// Kind is what a checksum is.
type Kind uint8

// The kinds.
const (
	NoSum     Kind = iota
	SHA256         // FIPS 180-4
	SHA1           // FIPS 180-4
	MD5            // RFC 1321
	CRC32          // ITU-T V.42, that of zip and gzip
	CRC32C         // RFC 3720 appendix B.4
	CRC64NVME      // NVM Command Set Specification, 64b CRC
	OtherSum       // a checksum of a kind that is not compared
)

var kindNames = [...]string{"no checksum", "SHA-256", "SHA-1", "MD5", "CRC-32", "CRC-32C", "CRC-64/NVME", "unknown checksum"}

// String returns the name that people know it by.
func (k Kind) String() string { return kindNames[k] }

// Size is the length in bytes; 0 where no value can be compared.
func (k Kind) Size() int { return [...]int{0, 32, 20, 16, 4, 4, 8, 0}[k] }

func (k Kind) isCRC() bool { return k == CRC32 || k == CRC32C || k == CRC64NVME }

// A Digest is one checksum of one row.
type Digest struct {
	Kind Kind
	Tag  bool // it stands in a column of tags: it may be no MD5 even if it looks like one
	// Parts is how many parts the object was sent in, where this is a checksum of their checksums; 0 where
	// it is one of the content, -1 where it is one of parts and the listing does not say of how many.
	Parts int
	bytes [32]byte
	// other is the second way to read eight or sixteen decimal digits of a CRC, which may be hexadecimal or
	// a decimal number.
	other    uint64
	hasOther bool
}

// Bytes returns the value, most significant byte first; nothing for OtherSum.
func (d *Digest) Bytes() []byte { return d.bytes[:d.Kind.Size()] }

// String gives the value as hexadecimal digits, with its number of parts.
func (d *Digest) String() string {
	s := hex.EncodeToString(d.Bytes())
	if d.Parts > 0 {
		s += "-" + strconv.Itoa(d.Parts)
	}
	return s
}

// Equal reports whether the value is sum.
func (d *Digest) Equal(sum []byte) bool {
	n := d.Kind.Size()
	if n == 0 || len(sum) != n {
		return false
	}
	if bytes.Equal(d.bytes[:n], sum) {
		return true
	}
	if !d.hasOther {
		return false
	}
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], d.other)
	return bytes.Equal(b[8-n:], sum)
}

func (d *Digest) sameAs(o *Digest) bool {
	if d.Equal(o.Bytes()) || o.Equal(d.Bytes()) {
		return true
	}
	return d.hasOther && o.hasOther && d.other == o.other
}

// mostParts is the most parts an object is sent in (common practice, no source).
const mostParts = 10_000

// readDigest reads a checksum as listings hold it: hexadecimal, base64 or, for a CRC, a decimal number, with
// or without quotation marks, with or without a label before it ("sha256:…") and a number of parts after it
// ("…-12"). want is the kind that its column names, NoSum where the column could hold any: then the length
// decides, and a CRC, of which there are many, is not compared. Kind is NoSum where there is no value.
func readDigest(text []byte, want Kind) Digest {
	text = bytes.Trim(bytes.TrimSpace(text), `"`)
	switch len(text) {
	case 0:
		return Digest{}
	case 1, 3, 4:
		switch strings.ToLower(string(text)) {
		case "-", "n/a", "null", "none":
			return Digest{}
		}
	}
	if i := bytes.IndexByte(text, ':'); i >= 0 {
		named := kindNamed(squeeze(text[:i]))
		if named == NoSum || want != NoSum && want != named {
			return Digest{Kind: OtherSum}
		}
		want, text = named, text[i+1:]
	}
	parts := 0
	if i := bytes.LastIndexByte(text, '-'); i >= 0 && len(text)-i-1 <= 5 {
		n, err := strconv.ParseUint(string(text[i+1:]), 10, 16)
		if err != nil || n < 1 || n > mostParts || i == 0 {
			return Digest{Kind: OtherSum}
		}
		parts, text = int(n), text[:i]
	}
	d := readValue(text, want)
	d.Parts = parts
	return d
}

// byLength are the kinds whose length tells them apart.
var byLength = [...]Kind{SHA256, SHA1, MD5}

func readValue(text []byte, want Kind) Digest {
	if want == OtherSum {
		return Digest{Kind: OtherSum}
	}
	if want != NoSum {
		return readAs(text, want)
	}
	for _, k := range byLength {
		n := k.Size()
		if len(text) == 2*n || len(text) == base64.StdEncoding.EncodedLen(n) {
			if d := readAs(text, k); d.Kind == k {
				return d
			}
		}
	}
	return Digest{Kind: OtherSum}
}

func readAs(text []byte, k Kind) Digest {
	n := k.Size()
	d := Digest{Kind: k}
	isHex := false
	if len(text) == 2*n {
		_, err := hex.Decode(d.bytes[:n], text)
		isHex = err == nil
	}
	if k.isCRC() {
		if v, err := strconv.ParseUint(string(text), 10, 8*n); err == nil && text[0] != '+' {
			if isHex {
				d.other, d.hasOther = v, true
				return d
			}
			var b [8]byte
			binary.BigEndian.PutUint64(b[:], v)
			copy(d.bytes[:], b[8-n:])
			return d
		}
	}
	if isHex {
		return d
	}
	if len(text) == base64.StdEncoding.EncodedLen(n) {
		var b [48]byte
		if m, err := base64.StdEncoding.Strict().Decode(b[:], text); err == nil && m == n {
			d.bytes = [32]byte{}
			copy(d.bytes[:], b[:n])
			return d
		}
	}
	return Digest{Kind: OtherSum}
}
