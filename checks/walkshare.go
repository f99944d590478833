package checks

import (
	"context"
	"sync/atomic"
	"time"

	"loadline/checks/share"
	"loadline/checks/walk"
)

// WalkShare walks a share and gives up with share.ErrSilent when nothing has come back for the length
// of the deadline. Long is fine, silent is not.
func WalkShare(ctx context.Context, deadline time.Duration, root string, o walk.Options) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var stirred atomic.Int64
	visit := o.Visit
	o.Visit = func(d *walk.Dir) {
		stirred.Add(1)
		visit(d)
		stirred.Add(1)
	}
	if o.Progress == nil {
		o.Progress = &walk.Progress{}
	}
	done := make(chan struct{})
	defer close(done)
	go func() {
		tick := time.NewTicker(deadline)
		defer tick.Stop()
		last := int64(-1)
		for {
			select {
			case <-done:
				return
			case <-tick.C:
				now := stirred.Load() + o.Progress.Entries.Load()
				if now == last {
					cancel(share.ErrSilent)
					return
				}
				last = now
			}
		}
	}()
	err := walk.Walk(ctx, root, o)
	if cause := context.Cause(ctx); err != nil && cause != nil {
		return cause
	}
	return err
}
