package gui

import (
	"cmp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"loadline/checks"
	"loadline/gui/input"
)

// sortKey is what the flagged files are sorted by.
type sortKey uint8

const (
	byPath sortKey = iota
	bySize
	byRule
	byLevel
)

// query is which findings are shown, and in which order.
type query struct {
	rule       *checks.Rule // nil: all rules
	levels     [3]bool      // shown levels
	text       string
	key        sortKey
	descending bool
}

// filesModel holds the findings of a report, or of one of its checks, and an index of those that are
// shown. All that takes long with a million of them runs beside the window: until the first wish is
// answered there are no rows, and of several wishes only the newest is shown.
type filesModel struct {
	results []*checks.Result
	all     []*checks.Finding // by path, then rule; made for the first wish, never changed after
	rank    map[string]int    // of the rules' IDs in their order
	view    []int32           // rows that are shown; only the goroutine of the user interface touches it
	ready   bool              // a wish has been answered

	newest atomic.Int64
	work   sync.Mutex // one filter at a time
	post   func(func())
}

// newFilesModel takes the findings of a report; c narrows them to one check, nil does not.
func newFilesModel(rep *checks.Report, c *checks.Check, post func(func())) *filesModel {
	m := &filesModel{post: post}
	for i := range rep.Checks {
		if r := &rep.Checks[i]; c == nil || r.ID == c.ID {
			m.results = append(m.results, r)
		}
	}
	return m
}

func (m *filesModel) rows() int { return len(m.view) }

// shown returns the rows that are shown now, for work beside the window: they stay as they are whatever
// is shown meanwhile.
func (m *filesModel) shown() (n int, at func(int) *checks.Finding) {
	all, view := m.all, m.view
	return len(view), func(row int) *checks.Finding { return all[view[row]] }
}

func (m *filesModel) at(row int) *checks.Finding { return m.all[m.view[row]] }

// ask filters and sorts beside the window and calls done on its goroutine, unless a newer wish has
// come meanwhile.
func (m *filesModel) ask(w query, done func()) {
	turn := m.newest.Add(1)
	go func() {
		m.work.Lock()
		defer m.work.Unlock()
		view, ok := m.pick(w, func() bool { return m.newest.Load() != turn })
		if !ok {
			return
		}
		m.post(func() {
			if m.newest.Load() == turn {
				m.view, m.ready = view, true
				done()
			}
		})
	}()
}

// arrange puts the findings of all checks in the order of their paths; each check's are in that order.
func (m *filesModel) arrange() {
	if m.rank != nil {
		return
	}
	n := 0
	var ids []string
	var heads [][]checks.Finding
	for _, r := range m.results {
		for id := range r.Rules {
			ids = append(ids, id)
		}
		if len(r.Findings) > 0 {
			heads = append(heads, r.Findings)
			n += len(r.Findings)
		}
	}
	all := make([]*checks.Finding, 0, n)
	for len(heads) > 0 {
		first := 0
		for i := range heads {
			if earlier(&heads[i][0], &heads[first][0]) {
				first = i
			}
		}
		all = append(all, &heads[first][0])
		if heads[first] = heads[first][1:]; len(heads[first]) == 0 {
			heads = slices.Delete(heads, first, first+1)
		}
	}
	slices.Sort(ids)
	m.all, m.rank = all, map[string]int{}
	for i, id := range slices.Compact(ids) {
		m.rank[id] = i
	}
}

func earlier(a, b *checks.Finding) bool {
	return cmp.Or(strings.Compare(a.Path, b.Path), strings.Compare(a.Rule.ID, b.Rule.ID)) < 0
}

// pick returns the rows of a wish, or false where it was called off.
func (m *filesModel) pick(w query, off func() bool) ([]int32, bool) {
	m.arrange()
	find := input.NewFinder(w.text)
	// What is equal by the key stays in the order of the paths.
	groups := make([][]int32, m.groups(w.key))
	for i, f := range m.all {
		if i&0x3fff == 0 && off() {
			return nil, false
		}
		if w.levels[f.Level] && (w.rule == nil || f.Rule == w.rule) && find.In(f.Path) {
			g := m.group(w.key, f)
			groups[g] = append(groups[g], int32(i))
		}
	}
	if w.descending {
		slices.Reverse(groups)
		if w.key == byPath {
			slices.Reverse(groups[0])
		}
	}
	view := slices.Concat(groups...)
	if w.key == bySize && !m.bySize(view, w.descending, off) {
		return nil, false
	}
	return view, !off()
}

// groups is how many values the key has that are sorted by counting; 1 where it is none of those.
func (m *filesModel) groups(k sortKey) int {
	switch k {
	case byRule:
		return max(len(m.rank), 1)
	case byLevel:
		return len(query{}.levels)
	}
	return 1
}

func (m *filesModel) group(k sortKey, f *checks.Finding) int {
	switch k {
	case byRule:
		return m.rank[f.Rule.ID]
	case byLevel:
		return int(checks.Fail - f.Level) // the worst first
	}
	return 0
}

// bySize sorts rows by size; false where it was called off.
func (m *filesModel) bySize(view []int32, descending bool, off func() bool) bool {
	n, gone := 0, false
	slices.SortFunc(view, func(a, b int32) int {
		if n++; n&0xffff == 0 && !gone {
			gone = off()
		}
		if gone { // any order will do
			return 0
		}
		c := cmp.Compare(m.all[a].Size, m.all[b].Size)
		if descending {
			c = -c
		}
		return cmp.Or(c, cmp.Compare(a, b))
	})
	return !gone
}
