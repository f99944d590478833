//go:build !ci

package main

import (
	"time"

	"github.com/go-gl/glfw/v3.3/glfw"
)

// waitForEvents waits in the window system until an event comes, which it handles, or wakeUp is called.
func waitForEvents(longest time.Duration) { glfw.WaitEventsTimeout(longest.Seconds()) }

func wakeUp() { glfw.PostEmptyEvent() }
