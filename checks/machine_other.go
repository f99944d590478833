//go:build !linux

package checks

import (
	"runtime"
	"strings"

	"github.com/shirou/gopsutil/v3/host"
)

// system names the computer, its system and its kernel.
func system() []string {
	info, err := host.Info()
	if err != nil {
		return []string{runtime.GOOS}
	}
	return []string{info.Hostname, strings.TrimSpace(info.Platform + " " + info.PlatformVersion), "kernel " + info.KernelVersion}
}
