//go:build !linux

package main

// icon is not there: Windows would need COM (ITaskbarList3), macOS a view of its own for the Dock (NSDockTile).
type icon struct{}

func newIcon() *icon { return nil }

func (*icon) show(float64) {}
