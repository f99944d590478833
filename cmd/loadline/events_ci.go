//go:build ci

package main

import "time"

// With the tag ci the toolkit has no window system, so that all else can be vetted without the headers of one.
func waitForEvents(time.Duration) {}

func wakeUp() {}
