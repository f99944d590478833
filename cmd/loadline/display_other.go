//go:build !linux

package main

// native: these systems have one way only to open a window.
const native = false

func canConnect() error { return nil }

func screen() (width, height int) { return 0, 0 }
