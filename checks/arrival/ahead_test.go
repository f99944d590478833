package arrival

import (
	"bytes"
	"context"
	"errors"
	"testing"

	"pgregory.net/rapid"

	"loadline/checks/arrival/listing"
)

// Rows come through in order and whole, whatever their keys; an error on either side ends both.
func TestReadAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 5*batchRows).Draw(t, "rows")
		long := rapid.IntRange(1, 3*batchKeys).Draw(t, "long")
		key := func(i int) []byte {
			if i%997 == 5 {
				return bytes.Repeat([]byte{byte(i)}, long)
			}
			return bytes.Repeat([]byte{byte(i), byte(i >> 8)}, i%50)
		}
		sums := func(i int) []listing.Digest { return make([]listing.Digest, i%4) }
		readStops := rapid.IntRange(-1, n).Draw(t, "reading fails at") // -1 never
		rowStops := rapid.IntRange(-1, n).Draw(t, "a row fails at")
		badRead, badRow := errors.New("reading"), errors.New("row")
		next := 0
		result, err := readAhead(t.Context(), func(ctx context.Context, row func(int, *listing.Row) error) (string, error) {
			for i := range n {
				if i == readStops {
					return "", badRead
				}
				r := listing.Row{Key: key(i), Sums: sums(i), Size: int64(i)}
				if err := row(i%3, &r); err != nil {
					return "", err
				}
				clear(r.Key) // it is no longer ours
			}
			return "whole", nil
		}, func(part int, r *listing.Row) error {
			if next == rowStops {
				return badRow
			}
			if part != next%3 || r.Size != int64(next) || !bytes.Equal(r.Key, key(next)) || len(r.Sums) != len(sums(next)) {
				t.Fatalf("row %d came as row %d of part %d", next, r.Size, part)
			}
			next++
			return nil
		})
		switch {
		case rowStops >= 0 && rowStops < n && (readStops < 0 || rowStops < readStops):
			if !errors.Is(err, badRow) || next != rowStops {
				t.Errorf("row %d fails: %d rows and %v", rowStops, next, err)
			}
		case readStops >= 0 && readStops < n:
			if !errors.Is(err, badRead) || next != readStops {
				t.Errorf("reading fails at %d: %d rows and %v", readStops, next, err)
			}
		case err != nil || result != "whole" || next != n:
			t.Errorf("%d of %d rows, %q, %v", next, n, result, err)
		}
	})
}

// Stop ends a reading that waits for its rows to be taken.
func TestReadAheadStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	_, err := readAhead(ctx, func(ctx context.Context, row func(int, *listing.Row) error) (struct{}, error) {
		for {
			if err := row(0, &listing.Row{Key: []byte("key")}); err != nil {
				return struct{}{}, err
			}
		}
	}, func(int, *listing.Row) error {
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}
