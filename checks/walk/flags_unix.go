//go:build unix && !darwin

package walk

import "syscall"

// fillFlags: files have no flags that count here.
func fillFlags(*Entry, *syscall.Stat_t) {}
