// Package compact holds large tables without a pointer a row, which cost the collector nothing.
package compact

import (
	"iter"
	"runtime/debug"
)

// Strings keeps many strings in few pieces of memory.
type Strings struct{ pieces [][]byte }

// A Span is where a string is in Strings: number of the piece, offset, length.
type Span struct{ piece, at, n uint32 }

const pieceSize = 1 << 20

func (a *Strings) Add(s []byte) Span {
	last := len(a.pieces) - 1
	if last < 0 || cap(a.pieces[last])-len(a.pieces[last]) < len(s) {
		a.pieces = append(a.pieces, make([]byte, 0, max(pieceSize, len(s))))
		last++
	}
	at := len(a.pieces[last])
	a.pieces[last] = append(a.pieces[last], s...)
	return Span{uint32(last), uint32(at), uint32(len(s))}
}

func (a *Strings) Get(s Span) []byte { return a.pieces[s.piece][s.at : s.at+s.n : s.at+s.n] }

// A List is a slice that grows without copying: doubling one of a million takes three times its
// size for a moment.
type List[T any] struct{ chunks [][]T }

const chunkSize = 1 << 12

func (c *List[T]) Add(v T) {
	last := len(c.chunks) - 1
	if last < 0 || len(c.chunks[last]) == chunkSize {
		c.chunks = append(c.chunks, make([]T, 0, chunkSize))
		last++
	}
	c.chunks[last] = append(c.chunks[last], v)
}

func (c *List[T]) Len() int {
	if len(c.chunks) == 0 {
		return 0
	}
	last := len(c.chunks) - 1
	return last*chunkSize + len(c.chunks[last])
}

func (c *List[T]) At(i int) *T { return &c.chunks[i/chunkSize][i%chunkSize] }

// All passes over the list in its order.
func (c *List[T]) All() iter.Seq[*T] {
	return func(yield func(*T) bool) {
		for _, chunk := range c.chunks {
			for i := range chunk {
				if !yield(&chunk[i]) {
					return
				}
			}
		}
	}
}

// Lean makes the collector run early until the returned function is called. Nearly all memory of a
// large job is tables without pointers, which cost it nothing to look at: a heap of twice their size
// would be for nothing.
func Lean() (usual func()) {
	before := debug.SetGCPercent(30)
	return func() { debug.SetGCPercent(before) }
}
