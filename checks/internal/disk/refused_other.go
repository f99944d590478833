//go:build !linux && !darwin && !windows

package disk

var fullErrors, readOnlyErrors, inUseErrors, nameErrors []error
