// Package parts computes tags and checksums of objects that were sent in parts: digests of the binary
// digests of the parts (common practice, no source).
package parts

import (
	"cmp"
	"hash"
	"maps"
	"math"
	"math/bits"
	"runtime"
	"slices"
	"sync"
)

// Bounds of a part and of their number (common practice, no source). The last part may be smaller.
const (
	minSize   = 5 << 20
	maxSize   = 5 << 30
	mostParts = 10_000
)

const (
	mib = 1 << 20
	mb  = 1_000_000
)

// count returns how many parts of a given size an object is sent in; an empty object has one.
func count(size, part int64) int64 {
	if size <= part {
		return 1
	}
	return (size-1)/part + 1
}

// Possible reports whether an object of size bytes can have been sent in n parts of part bytes each, the
// last one aside.
func Possible(size int64, n int, part int64) bool {
	if size < 0 || n < 1 || n > mostParts || part < 1 || part > maxSize || part < minSize && n > 1 {
		return false
	}
	return count(size, part) == int64(n)
}

// Sizes returns the plausible sizes of the parts of an object of size bytes in n parts, the likeliest first:
// those that were learned from other objects, in their order; then whole MiB, then whole MB, each the
// roundest first; last size/n rounded up. It returns nil where nothing fits. most bounds how many there are,
// 0 for no bound: few large parts leave hundreds.
func Sizes(size int64, n int, learned []int64, most int) []int64 {
	if size < 0 || n < 1 || n > mostParts {
		return nil
	}
	if n == 1 {
		// However large the part may have been, all of the object is in it.
		if size > maxSize {
			return nil
		}
		return []int64{max(size, 1)}
	}
	var all []int64
	add := func(part int64) {
		if Possible(size, n, part) && !slices.Contains(all, part) {
			all = append(all, part)
		}
	}
	for _, part := range learned {
		add(part)
	}
	low := max((size-1)/int64(n)+1, minSize)
	high := min((size-1)/int64(n-1), maxSize) // the last one that leaves something for part n
	for _, unit := range []int64{mib, mb} {
		var whole []int64
		for u := (low-1)/unit + 1; u*unit <= high; u++ {
			whole = append(whole, u)
		}
		slices.SortStableFunc(whole, func(a, b int64) int { return roundness(b, unit) - roundness(a, unit) })
		for _, u := range whole {
			add(u * unit)
		}
	}
	add((size-1)/int64(n) + 1)
	if most > 0 && len(all) > most {
		all = all[:most]
	}
	return all
}

// roundness is how often a number can be halved, or for decimal units divided by 5 or 10.
func roundness(n, unit int64) int {
	if unit == mib {
		return bits.TrailingZeros64(uint64(n))
	}
	r := 0
	for ; n > 0 && n%10 == 0; n /= 10 {
		r += 2
	}
	if n%5 == 0 {
		r++
	}
	return r
}

// A Learner remembers which sizes of parts fitted. It is not safe for concurrent use.
type Learner struct{ fits map[int64]int }

// Fits notes that a size fitted an object in more than one part; one part tells no size.
func (l *Learner) Fits(part int64, n int) {
	if n < 2 {
		return
	}
	if l.fits == nil {
		l.fits = map[int64]int{}
	}
	l.fits[part]++
}

// Sizes returns the sizes that fitted, the most frequent first.
func (l *Learner) Sizes() []int64 {
	return slices.SortedFunc(maps.Keys(l.fits), func(a, b int64) int {
		return cmp.Or(cmp.Compare(l.fits[b], l.fits[a]), cmp.Compare(a, b))
	})
}

// Combine returns the digest of the binary digests of the parts.
func Combine(newHash func() hash.Hash, digests [][]byte) []byte {
	h := newHash()
	for _, d := range digests {
		h.Write(d)
	}
	return h.Sum(nil)
}

// A Hasher computes the digest of parts for several sizes of parts while the content is read once. Each size
// costs a digest of all content; they share the processors.
type Hasher struct {
	tries []*try
}

type try struct {
	size  int64
	left  int64 // of the present part
	part  hash.Hash
	whole hash.Hash
	n     int64 // parts that have ended
	sum   []byte
}

// NewHasher makes a Hasher for sizes of parts, which are positive.
func NewHasher(newHash func() hash.Hash, sizes []int64) *Hasher {
	h := &Hasher{}
	for _, size := range sizes {
		h.tries = append(h.tries, &try{size: size, left: size, part: newHash(), whole: newHash()})
	}
	return h
}

// besideFrom is the size of a block from which goroutines cost little beside the hashing, bytes.
const besideFrom = 64 << 10

// Write takes the next block of the content. It never fails.
func (h *Hasher) Write(p []byte) (int, error) {
	workers := min(len(h.tries), runtime.GOMAXPROCS(0))
	if workers < 2 || len(p) < besideFrom {
		for _, t := range h.tries {
			t.write(p)
		}
		return len(p), nil
	}
	var all sync.WaitGroup
	for w := range workers {
		all.Go(func() {
			for i := w; i < len(h.tries); i += workers {
				h.tries[i].write(p)
			}
		})
	}
	all.Wait()
	return len(p), nil
}

func (t *try) write(p []byte) {
	for len(p) > 0 {
		n := min(int64(len(p)), t.left)
		t.part.Write(p[:n])
		p = p[n:]
		if t.left -= n; t.left == 0 {
			t.end()
		}
	}
}

func (t *try) end() {
	t.sum = t.part.Sum(t.sum[:0])
	t.whole.Write(t.sum)
	t.part.Reset()
	t.n++
	t.left = t.size
}

// A Result is the digest of parts for one size of parts.
type Result struct {
	PartSize int64
	Parts    int
	Digest   []byte
}

// Results ends the content and returns a result for each size, in their order. An empty content has one
// empty part. Nothing may be written afterwards.
func (h *Hasher) Results() []Result {
	all := make([]Result, len(h.tries))
	for i, t := range h.tries {
		if t.left < t.size || t.n == 0 {
			t.end()
		}
		all[i] = Result{t.size, int(min(t.n, math.MaxInt)), t.whole.Sum(nil)}
	}
	return all
}
