package digest

import (
	"runtime"
	"sync"
)

// While files are read, twice as many goroutines as there are cores may run at a time. A call that reads keeps its
// place among those that run until the runtime takes it away, so that with a place a core the hashers wait while a
// core is idle (measured, 2 GB in memory on two cores: 0.93 s; with twice the places 0.77 s; with more the same).
var running struct {
	sync.Mutex
	readings int
	before   int
}

// moreThreads lets them run until done is called. Readings may overlap.
func moreThreads() (done func()) {
	running.Lock()
	defer running.Unlock()
	if running.readings++; running.readings == 1 {
		running.before = runtime.GOMAXPROCS(0)
		runtime.GOMAXPROCS(2 * running.before)
	}
	return sync.OnceFunc(func() {
		running.Lock()
		defer running.Unlock()
		if running.readings--; running.readings == 0 {
			runtime.GOMAXPROCS(running.before)
		}
	})
}
