//go:build !linux && !darwin && !windows

package share

func battery() (onBattery, known bool) { return false, false }
