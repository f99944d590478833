package arrival

import (
	"context"

	"loadline/checks/arrival/listing"
)

// Rows are handed over in batches of so many rows, and of about so many bytes of keys.
const (
	batchRows = 1024
	batchKeys = 128 << 10
	batches   = 4
)

// A batch holds copies of rows.
type batch struct {
	rows  []listing.Row
	parts []int // of which listing each row is
	keys  []byte
	sums  []listing.Digest
}

func newBatch() *batch {
	return &batch{
		rows: make([]listing.Row, 0, batchRows), parts: make([]int, 0, batchRows),
		keys: make([]byte, 0, batchKeys), sums: make([]listing.Digest, 0, 2*batchRows),
	}
}

// fits reports whether a row can be added without moving what is there. Any row fits an empty batch.
func (b *batch) fits(r *listing.Row) bool {
	return len(b.rows) == 0 || len(b.rows) < batchRows &&
		len(b.keys)+len(r.Key) <= cap(b.keys) && len(b.sums)+len(r.Sums) <= cap(b.sums)
}

func (b *batch) add(part int, r *listing.Row) {
	c := *r
	k, s := len(b.keys), len(b.sums)
	b.keys, b.sums = append(b.keys, r.Key...), append(b.sums, r.Sums...)
	c.Key, c.Sums = b.keys[k:len(b.keys):len(b.keys)], b.sums[s:len(b.sums):len(b.sums)]
	b.rows, b.parts = append(b.rows, c), append(b.parts, part)
}

func (b *batch) empty() {
	b.rows, b.parts, b.keys, b.sums = b.rows[:0], b.parts[:0], b.keys[:0], b.sums[:0]
}

// readAhead calls row for every row that read gives, in order, while read goes on: parsing a listing and looking
// up its keys take about as long as each other. An error of row ends both.
func readAhead[T any](ctx context.Context, read func(context.Context, func(int, *listing.Row) error) (T, error), row func(int, *listing.Row) error) (T, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	full, free := make(chan *batch, batches), make(chan *batch, batches+1)
	for range batches - 1 {
		free <- newBatch()
	}
	var result T
	var readErr error
	go func() {
		defer close(full)
		b := newBatch()
		result, readErr = read(ctx, func(part int, r *listing.Row) error {
			if !b.fits(r) {
				full <- b // it has room for all there are
				select {
				case b = <-free:
				case <-ctx.Done():
					b = newBatch() // what was read is no longer wanted
					return ctx.Err()
				}
			}
			b.add(part, r)
			return nil
		})
		full <- b
	}()
	var rowErr error
	for b := range full {
		for i := range b.rows {
			if rowErr != nil {
				break
			}
			if rowErr = row(b.parts[i], &b.rows[i]); rowErr != nil {
				cancel()
			}
		}
		b.empty()
		free <- b
	}
	if rowErr != nil {
		return result, rowErr
	}
	return result, readErr
}
