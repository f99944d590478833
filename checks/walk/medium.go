package walk

import (
	"runtime"
	"time"
)

// A medium is what a folder lies on, as far as it bears on how to read it.
type medium uint8

const (
	unknownMedium medium = iota
	solid                // answers at once, wherever
	spinning             // every seek costs milliseconds
	network              // every call costs a round trip
)

// DefaultWorkers returns how many folders of root to read at a time: few where every one more
// makes a disk seek, many where each waits for a round trip, else what keeps all cores busy.
// It asks the system, for at most two seconds.
func DefaultWorkers(root string) int {
	answer := make(chan medium, 1)
	go func() { answer <- mediumOf(root) }()
	patience := time.NewTimer(2 * time.Second)
	defer patience.Stop()
	select {
	case m := <-answer:
		return workersFor(m, runtime.GOMAXPROCS(0))
	case <-patience.C:
		// Only a network file system keeps one waiting so long.
		return workersFor(network, runtime.GOMAXPROCS(0))
	}
}

func workersFor(m medium, cores int) int {
	switch m {
	case spinning:
		return 2
	case network:
		return 32
	case solid:
		return min(max(cores, 2), 16)
	}
	return min(max(cores, 4), 16)
}
