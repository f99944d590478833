package parts

import (
	"bytes"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"fmt"
	"hash"
	"hash/crc32"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestSizes(t *testing.T) {
	const s100 = 100 * mib
	for _, tc := range []struct {
		name    string
		size    int64
		n       int
		learned []int64
		want    []int64
	}{
		{"one part", 123, 1, nil, []int64{123}},
		{"nothing", 0, 1, nil, []int64{1}},
		{"MiB before MB, S/N last", s100, 13, nil, []int64{8 * mib, (s100-1)/13 + 1}},
		{"MB", 100 * mb, 13, nil, []int64{8 * mb, (100*mb-1)/13 + 1}},
		{"16 MiB, learned 15", s100, 7, []int64{15 * mib, 8 * mib}, []int64{15 * mib, 16 * mib, 15 * mb, 16 * mb, 17_000_000, (s100-1)/7 + 1}},
		{"no MiB and no MB between", 60_000_000_001, 9999, nil, []int64{6_000_601}},
		{"too small for two parts", 5*mib - 1, 2, nil, nil},
		{"the smallest for two parts", 5*mib + 1, 2, nil, []int64{5 * mib}},
		{"too large", 2*maxSize + 1, 2, nil, nil},
		{"the largest", 2 * maxSize, 2, nil, []int64{maxSize}},
		{"too many", 1 << 40, mostParts + 1, nil, nil},
		{"no part", 10, 0, nil, nil},
	} {
		got := Sizes(tc.size, tc.n, tc.learned, 0)
		if !slices.Equal(got, tc.want) {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
	if got := Sizes(9<<30, 2, nil, 3); len(got) != 3 || got[0] != 5<<30 && got[0] != 4608*mib {
		t.Errorf("bounded: %v", got)
	}
}

// Every size is in [S/N, S/(N-1)), and the whole MiB and MB in it are all there.
func TestSizesAreAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Int64Range(1, 60<<30).Draw(t, "size")
		n := rapid.IntRange(2, mostParts).Draw(t, "n")
		got := Sizes(size, n, nil, 0)
		for _, p := range got {
			// S/N <= p < S/(N-1), without rounding
			if p*int64(n) < size || p*int64(n-1) >= size || p < minSize || p > maxSize {
				t.Fatalf("size %d in %d parts of %d", size, n, p)
			}
		}
		for _, unit := range []int64{mib, mb} {
			p := rapid.Int64Range(5, 5120).Draw(t, "units") * unit
			fits := p*int64(n) >= size && p*int64(n-1) < size && p >= minSize && p <= maxSize
			if fits != slices.Contains(got, p) {
				t.Fatalf("size %d in %d parts: %d fits: %v", size, n, p, fits)
			}
		}
	})
}

func TestLearner(t *testing.T) {
	var l Learner
	l.Fits(8*mib, 3)
	l.Fits(16*mib, 2)
	l.Fits(16*mib, 9)
	l.Fits(99, 1)
	if got := l.Sizes(); !slices.Equal(got, []int64{16 * mib, 8 * mib}) {
		t.Errorf("learned %v", got)
	}
}

// The oracle is hashlib and zlib of Python: digests of the binary digests of slices.
const python = `
import hashlib, json, sys, zlib
data = open(sys.argv[1], "rb").read()
out = []
for part in json.loads(sys.argv[2]):
    pieces = [data[i:i+part] for i in range(0, len(data), part)] or [b""]
    row = {"n": len(pieces)}
    for name in ("md5", "sha1", "sha256"):
        row[name] = hashlib.new(name, b"".join(hashlib.new(name, p).digest() for p in pieces)).hexdigest()
    crc = b"".join(zlib.crc32(p).to_bytes(4, "big") for p in pieces)
    row["crc32"] = "%08x" % zlib.crc32(crc)
    out.append(row)
print(json.dumps(out))
`

var hashes = map[string]func() hash.Hash{
	"md5": md5.New, "sha1": sha1.New, "sha256": sha256.New,
	"crc32": func() hash.Hash { return crc32.NewIEEE() },
}

// One flipped byte changes every result.
func TestHasherFlippedByte(t *testing.T) {
	data := bytes.Repeat([]byte("footage "), 40_000)
	sizes := []int64{1 << 10, 1 << 16, 1 << 20}
	sum := func() []Result {
		h := NewHasher(md5.New, sizes)
		_, _ = h.Write(data)
		return h.Results()
	}
	before := sum()
	for _, at := range []int{0, 1023, 1024, len(data) - 1} {
		data[at] ^= 1
		for i, r := range sum() {
			if bytes.Equal(r.Digest, before[i].Digest) {
				t.Errorf("byte %d flipped: the digest of parts of %d is the same", at, r.PartSize)
			}
		}
		data[at] ^= 1
	}
}

func TestCombine(t *testing.T) {
	a, b := md5.Sum([]byte("a")), md5.Sum([]byte("b"))
	h := NewHasher(md5.New, []int64{1})
	_, _ = h.Write([]byte("ab"))
	if got, want := Combine(md5.New, [][]byte{a[:], b[:]}), h.Results()[0].Digest; !bytes.Equal(got, want) {
		t.Errorf("Combine gives %x, Hasher %x", got, want)
	}
}

func BenchmarkHasher(b *testing.B) {
	for _, n := range []int{1, 2, 4, 8} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			sizes := make([]int64, n)
			for i := range sizes {
				sizes[i] = int64(i+5) * mib
			}
			h := NewHasher(md5.New, sizes)
			block := make([]byte, 4*mib)
			b.SetBytes(int64(len(block)))
			for b.Loop() {
				_, _ = h.Write(block)
			}
		})
	}
}
