//go:build !windows

package gui

import "os/exec"

func withoutConsole(*exec.Cmd) {}
