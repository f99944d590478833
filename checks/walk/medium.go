package walk

import (
	"runtime"
	"time"

	"loadline/checks/internal/disk"
)

// DefaultWorkers returns how many folders of root to read at a time: few where every one more
// makes a disk seek, many where each waits for a round trip, else what keeps all cores busy.
// It asks the system, for at most five seconds.
func DefaultWorkers(root string) int {
	answer := make(chan disk.Medium, 1)
	go func() { answer <- disk.MediumOf(root) }()
	patience := time.NewTimer(5 * time.Second)
	defer patience.Stop()
	select {
	case m := <-answer:
		return workersFor(&m, runtime.GOMAXPROCS(0))
	case <-patience.C:
		// What keeps one waiting so long is a server, or a disk that has to start to turn. Few workers do
		// little harm on the one, many do much on the other.
		return seekingWorkers
	}
}

const (
	seekingWorkers = 2
	networkWorkers = 32
	mostWorkers    = 16
)

func workersFor(m *disk.Medium, cores int) int {
	switch {
	case m.Network == disk.Yes:
		return networkWorkers
	case m.Seeks():
		return seekingWorkers
	case m.Memory || m.Rotates == disk.No:
		return min(max(cores, 2), mostWorkers)
	}
	return min(max(cores, 4), mostWorkers)
}
