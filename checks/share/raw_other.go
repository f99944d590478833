//go:build !linux && !darwin && !windows

package share

import "context"

// RawMount returns what the system says of a mount in its own words: nothing here.
func RawMount(context.Context, *Mount) string { return "" }
