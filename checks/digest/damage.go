package digest

import (
	"context"
	"errors"
	"io"
	"time"

	"loadline/checks/internal/disk"
)

// How closely a place that cannot be read is looked at. A disk may try for many seconds before it gives up on
// one read, so the patience is bounded (common practice, no source).
const (
	coarse = 64 << 10 // bytes of one read around a bad place
	fine   = disk.Align
	// finePatience and mostFine bound the reads of single blocks in one file: after that a coarse piece counts as
	// lost as a whole.
	finePatience = time.Minute
	mostFine     = 512
	// A file of which so many reads in a row fail, or that took so long, is not asked any further.
	mostInARow = 1024
	patience   = 10 * time.Minute
)

// around reads a file on from a place where a block could not be read, in smaller pieces, and notes in r
// what is lost. What it gets back is counted, but no longer hashed. The error is one that ends the whole
// reading.
func (l *lane) around(o *opened, r *Result, memory []byte, from int64) error {
	r.Err = o.err
	began := l.Now()
	finest, row := 0, 0
	at := from &^ (fine - 1)
	first := true // the block that failed holds a bad place for sure; what follows may not
	for at < r.Length {
		size := int64(coarse)
		if !first && at%int64(len(memory)) == 0 {
			size = int64(len(memory))
		}
		size = min(size, (r.Length-at+fine-1)&^(fine-1))
		got, err := l.piece(o, memory[:size], at)
		if err != nil {
			return err
		}
		if got.err == nil || errors.Is(got.err, io.EOF) {
			l.regain(r, at, int64(got.data))
			row, first = 0, false
			if int64(got.data) < min(size, r.Length-at) {
				return nil // the file became shorter: told by its state
			}
			at += size
			continue
		}
		r.Err = got.err
		if size > coarse {
			first = true // look at it in coarse pieces
			continue
		}
		first = true
		for end := min(at+size, r.Length); at < end; {
			if finest >= mostFine || l.Now().Sub(began) > finePatience {
				l.lose(r, at, end-at)
				row++
				at = end
				break
			}
			got, err := l.piece(o, memory[:fine], at)
			if err != nil {
				return err
			}
			n := min(fine, r.Length-at)
			if got.err == nil || errors.Is(got.err, io.EOF) {
				l.regain(r, at, int64(got.data))
				row = 0
			} else {
				r.Err = got.err
				l.lose(r, at, n)
				finest++
				row++
			}
			at += n
		}
		if row >= mostInARow || l.Now().Sub(began) > patience {
			l.lose(r, at, r.Length-at)
			r.Cut = true
			return nil
		}
	}
	return nil
}

// piece reads a piece, guarded. Of a reading that has ended it closes the file.
func (l *lane) piece(o *opened, into []byte, at int64) (*opened, error) {
	if l.ctx.Err() != nil {
		_ = o.Close() // nobody asks
		return nil, context.Cause(l.ctx)
	}
	return guarded(l.ctx, l.Reading, func() (*opened, error) {
		next := *o
		next.data, next.err = o.ReadAt(into, at)
		return &next, nil
	})
}

// regain counts bytes beside a bad place; those before r.Got were counted already.
func (l *lane) regain(r *Result, at, n int64) {
	over := max(r.seen(), at)
	if more := at + n - over; more > 0 {
		r.Got += more
		l.count(int(more))
	}
}

// seen is up to where a file was looked at.
func (r *Result) seen() int64 { return r.Got + r.Lost() }

// lose notes that bytes cannot be read.
func (l *lane) lose(r *Result, at, n int64) {
	if n <= 0 {
		return
	}
	if last := len(r.Bad) - 1; last >= 0 && r.Bad[last].Offset+r.Bad[last].Length == at {
		r.Bad[last].Length += n
		return
	}
	r.Bad = append(r.Bad, Part{at, n})
}
