//go:build !linux && !darwin && !windows

package disk

var mediumErrors, goneErrors []error
