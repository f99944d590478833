package before

import (
	"context"
	"time"

	"loadline/checks"
	"loadline/checks/share"
)

// Trials in tests are real, but what they measure of this computer's speed is replaced: a busy one must not be told that
// its files are small. What follows from a rate has cases that say it.
func init() {
	finish := shareWrites.Finish
	shareWrites.Finish = func(ctx context.Context, pass *checks.Pass) error {
		err := finish(ctx, pass)
		if got, ok := pass.State.(*share.Result); ok && got.Rate > 0 {
			got.Rate, got.RateLow, got.RateHigh, got.PerFile = 1e9, 1e9, 1e9, time.Microsecond
		}
		return err
	}
}
