//go:build !linux

package main

// native: these systems have one way only to open a window.
const native = false

func canConnect() error { return nil }

func screen() (width, height int) { return 0, 0 }

// icon is not there: Windows would need COM (ITaskbarList3), macOS a view of its own for the Dock (NSDockTile).
type icon struct{}

func newIcon() *icon { return nil }

func (*icon) show(float64) {}

// yieldToDrawing does nothing: elsewhere threads have no priority of their own that this could set.
func yieldToDrawing() {}
