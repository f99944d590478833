package gui

import (
	"os/exec"
	"syscall"

	"golang.org/x/sys/windows"
)

// withoutConsole keeps a program of the command line from opening a window for it.
func withoutConsole(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{HideWindow: true, CreationFlags: windows.CREATE_NO_WINDOW}
}
