//go:build unix

package main

import (
	"os/exec"
	"syscall"
)

// ownGroup puts a program and all that it starts into one group. Its cancel interrupts them all, and
// the function returned ends what is left of them: a test that is cut off must not leave the
// programs that it ran behind.
func ownGroup(cmd *exec.Cmd) (end func()) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGINT) }
	return func() {
		if cmd.Process != nil {
			_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL)
		}
	}
}
