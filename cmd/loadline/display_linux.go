//go:build !wayland

package main

import (
	"io"
	"log"

	"github.com/jezek/xgb"
	"github.com/jezek/xgb/xproto"
)

// native tells that the window speaks Wayland itself; this build speaks X11 and needs Xwayland there.
const native = false

// canConnect reports whether the display answers: the toolkit would panic where it does not.
func canConnect() error {
	c, err := connect()
	if err == nil {
		c.Close()
	}
	return err
}

// screen returns the size of the screen in pixels, zero where it is unknown: without a window
// manager nobody else keeps a window on it.
func screen() (width, height int) {
	c, err := connect()
	if err != nil {
		return 0, 0
	}
	defer c.Close()
	s := xproto.Setup(c).DefaultScreen(c)
	return int(s.WidthInPixels), int(s.HeightInPixels)
}

func connect() (*xgb.Conn, error) {
	xgb.Logger = log.New(io.Discard, "", 0)
	return xgb.NewConn()
}
