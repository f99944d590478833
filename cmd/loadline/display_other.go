//go:build !linux

package main

func canConnect() error { return nil }

func screen() (width, height int) { return 0, 0 }
