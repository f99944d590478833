package walk

import (
	"errors"
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// platformSystems are the ways the walk falls back to on old kernels and in tight places.
func platformSystems() map[string]func(string) system {
	return map[string]func(string) system{
		"without statx": func(root string) system {
			s := newSystem(root).(*linux)
			s.oldStat.Store(true)
			return s
		},
		"holding no folder open": func(root string) system {
			s := newSystem(root).(*linux)
			s.mayHold = 0
			return s
		},
		"many entries a call": func(root string) system {
			return &bulk{portable: portable{root}, ask: askLikeAMac}
		},
		"holding two folders open": func(root string) system {
			s := newSystem(root).(*linux)
			s.mayHold = 2
			return s
		},
	}
}

// openFiles counts the descriptors of this process.
func openFiles(t *testing.T) int {
	t.Helper()
	all, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

// isReplaced says whether a folder turned into something else before it was opened.
func isReplaced(err error) bool {
	return errors.Is(err, unix.ENOTDIR) || errors.Is(err, unix.ELOOP)
}
