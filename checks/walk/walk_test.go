package walk

import (
	"context"
	"sync/atomic"
	"testing"
)

func TestSmoke(t *testing.T) {
	var n, f atomic.Int64
	err := Walk(context.Background(), "/usr/share", Options{Visit: func(d *Dir) {
		f.Add(1)
		n.Add(int64(len(d.Entries)))
	}})
	t.Log(n.Load(), f.Load(), err)
}
