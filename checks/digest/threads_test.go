package digest

import (
	"runtime"
	"testing"
)

// However readings overlap, twice as many threads run while there is one, and as many as before after the last.
func TestMoreThreads(t *testing.T) {
	before := runtime.GOMAXPROCS(0)
	one := moreThreads()
	two := moreThreads()
	one()
	one() // once only
	if n := runtime.GOMAXPROCS(0); n != 2*before {
		t.Errorf("%d threads while there is a reading, %d before", n, before)
	}
	two()
	if n := runtime.GOMAXPROCS(0); n != before {
		t.Errorf("%d threads after the last, %d before", n, before)
	}
}
