package main

import (
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// behind is the nice value (setpriority(2)) of everything but drawing: with a software renderer a check
// that keeps all cores busy would otherwise hold up the window.
const behind = 5

// yieldToDrawing gives what runs beside the window a lower priority than the thread that draws it. Call
// it on that thread, before the display is opened: threads of the renderer are started by it and keep its
// priority, those of the checks are started by the others. On Linux each thread has its own.
func yieldToDrawing() {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return // all stays as it is
	}
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil && id != unix.Gettid() {
			_ = unix.Setpriority(unix.PRIO_PROCESS, id, behind) // a thread may have ended
		}
	}
}
