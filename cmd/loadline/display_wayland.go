//go:build linux && wayland

package main

import (
	"net"
	"os"
	"path/filepath"
)

// native tells that the window speaks Wayland itself, built with the tag wayland of the toolkit.
const native = true

// canConnect reports whether the compositor answers: the toolkit would panic where it does not. The
// socket is a path, or a name in the folder for what a session keeps (wl_display_connect(3)).
func canConnect() error {
	socket := os.Getenv("WAYLAND_DISPLAY")
	if !filepath.IsAbs(socket) {
		socket = filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), socket)
	}
	c, err := net.Dial("unix", socket)
	if err != nil {
		return err
	}
	return c.Close()
}

// screen is unknown: the compositor alone sizes windows.
func screen() (width, height int) { return 0, 0 }
