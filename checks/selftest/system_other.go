//go:build !linux && !darwin

package selftest

import (
	"errors"
	"runtime"

	"github.com/shirou/gopsutil/v3/host"
)

const accessList = ""

func setAttribute(string) (string, error) { return "", errors.ErrUnsupported }

func setAccessList(string) error { return errors.ErrUnsupported }

func kernel() string {
	version, err := host.KernelVersion()
	if err != nil {
		return runtime.GOOS
	}
	return runtime.GOOS + " " + version
}
