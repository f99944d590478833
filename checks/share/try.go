package share

import (
	"context"
	"errors"
)

// Try is the write trial.
func Try(ctx context.Context, folder string, w Wishes) (*Result, error) {
	return nil, errors.ErrUnsupported
}

// LeftBehind lists marked trial folders of earlier runs.
func LeftBehind(ctx context.Context, folder string) ([]string, error) { return nil, nil }

// Remove removes one.
func Remove(ctx context.Context, trialFolder string) error { return errors.ErrUnsupported }
