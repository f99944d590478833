package checks

import (
	"cmp"
	"encoding/binary"
	"runtime"
	"slices"
	"strings"
	"sync"
)

// A place is where a finding stands in their order: by the first bytes in which the paths may differ, else by all
// that is compared.
type place struct {
	key uint64
	*Finding
}

func (p place) compare(o place) int {
	if c := cmp.Compare(p.key, o.key); c != 0 {
		return c
	}
	return compareFindings(p.Finding, o.Finding)
}

// compareFindings orders by path, then rule, bytewise, then source.
func compareFindings(a, b *Finding) int {
	if c := strings.Compare(a.Path, b.Path); c != 0 {
		return c
	}
	return cmp.Or(strings.Compare(a.Rule.ID, b.Rule.ID), cmp.Compare(a.Source, b.Source), strings.Compare(a.Detail, b.Detail))
}

// sorted returns the findings of all blocks in their order. Findings are large, so their places are sorted, and each
// finding is copied once. Nothing else runs once the walk has ended, so all cores work at it.
func sorted(blocks [][]Finding) []Finding {
	n := 0
	for _, b := range blocks {
		n += len(b)
	}
	order := make([]place, 0, n)
	for _, b := range blocks {
		for i := range b {
			order = append(order, place{Finding: &b[i]})
		}
	}
	shared := sharedPath(order)
	inParts(n, func(from, to int) {
		for i := range order[from:to] {
			p := &order[from+i]
			var key [8]byte
			copy(key[:], p.Path[shared:])
			p.key = binary.BigEndian.Uint64(key[:])
		}
	})
	sortPlaces(order, runtime.GOMAXPROCS(0))
	all := make([]Finding, n)
	inParts(n, func(from, to int) {
		for i := from; i < to; i++ {
			all[i] = *order[i].Finding
		}
	})
	return all
}

// sharedPath returns how many bytes all paths begin with in common.
func sharedPath(order []place) int {
	if len(order) == 0 {
		return 0
	}
	shared := order[0].Path
	for _, p := range order {
		n := 0
		for n < len(shared) && n < len(p.Path) && shared[n] == p.Path[n] {
			n++
		}
		shared = shared[:n]
	}
	return len(shared)
}

// manyFindings is from how many on a second core is worth its start.
const manyFindings = 1 << 12

// sortPlaces sorts with as many goroutines as there are cores.
func sortPlaces(order []place, cores int) {
	if cores < 2 || len(order) < manyFindings {
		slices.SortFunc(order, place.compare)
		return
	}
	var sample [63]place
	for i := range sample {
		sample[i] = order[len(order)/len(sample)*i]
	}
	slices.SortFunc(sample[:], place.compare)
	middle, below := sample[len(sample)/2], 0
	for i := range order {
		if order[i].compare(middle) < 0 {
			order[i], order[below] = order[below], order[i]
			below++
		}
	}
	var half sync.WaitGroup
	half.Go(func() { sortPlaces(order[:below], cores/2) })
	sortPlaces(order[below:], cores-cores/2)
	half.Wait()
}

// inParts calls f for parts of the numbers below n, side by side where they are many.
func inParts(n int, f func(from, to int)) {
	parts := 1
	if n >= manyFindings {
		parts = runtime.GOMAXPROCS(0)
	}
	var all sync.WaitGroup
	for i := range parts {
		all.Go(func() { f(n*i/parts, n*(i+1)/parts) })
	}
	all.Wait()
}
