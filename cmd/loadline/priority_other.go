//go:build !linux

package main

// yieldToDrawing does nothing: elsewhere threads have no priority of their own that this could set.
func yieldToDrawing() {}
