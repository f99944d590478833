//go:build unix

package demo

import (
	"os"

	"golang.org/x/sys/unix"
)

// lock takes a file for this process, or fails where another has it (flock(2)).
func lock(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }
