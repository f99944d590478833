package gui

import (
	"cmp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode/utf8"

	"loadline/checks"
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
	check      int          // place of the check in the report; -1: of all checks
	rule       *checks.Rule // nil: all rules
	levels     [3]bool      // shown levels
	text       string
	key        sortKey
	descending bool
}

// filesModel holds all findings of a report and an index of those that are shown. Filtering and
// sorting run beside the window; of several wishes only the newest is shown.
type filesModel struct {
	all        []*checks.Finding
	of         []uint8 // the check of each, by its place in the report
	view       []int32 // rows that are shown; only the goroutine of the user interface touches it
	unfiltered bool    // view is everything in its own order

	newest atomic.Int64
	work   sync.Mutex // one filter at a time
	post   func(func())
}

func newFilesModel(rep *checks.Report, post func(func())) *filesModel {
	m := &filesModel{post: post, unfiltered: true}
	n := 0
	for i := range rep.Checks {
		n += len(rep.Checks[i].Findings)
	}
	m.all, m.of = make([]*checks.Finding, 0, n), make([]uint8, 0, n)
	for i := range rep.Checks {
		r := &rep.Checks[i]
		for j := range r.Findings {
			m.all, m.of = append(m.all, &r.Findings[j]), append(m.of, uint8(i))
		}
	}
	return m
}

func (m *filesModel) rows() int {
	if m.unfiltered {
		return len(m.all)
	}
	return len(m.view)
}

// shown returns the rows that are shown now, for work beside the window: they stay as they are whatever
// is shown meanwhile.
func (m *filesModel) shown() (n int, at func(int) *checks.Finding) {
	all, view, unfiltered := m.all, m.view, m.unfiltered
	if unfiltered {
		return len(all), func(row int) *checks.Finding { return all[row] }
	}
	return len(view), func(row int) *checks.Finding { return all[view[row]] }
}

func (m *filesModel) at(row int) *checks.Finding {
	if m.unfiltered {
		return m.all[row]
	}
	return m.all[m.view[row]]
}

// ask filters and sorts beside the window and calls done on its goroutine, unless a newer wish has
// come meanwhile.
func (m *filesModel) ask(w query, done func(took time.Duration)) {
	turn := m.newest.Add(1)
	go func() {
		m.work.Lock()
		defer m.work.Unlock()
		began := time.Now()
		view, ok := m.pick(w, func() bool { return m.newest.Load() != turn })
		if !ok {
			return
		}
		took := time.Since(began)
		m.post(func() {
			if m.newest.Load() == turn {
				m.view, m.unfiltered = view, false
				done(took)
			}
		})
	}()
}

// pick returns the rows of a wish, or false where it was called off.
func (m *filesModel) pick(w query, off func() bool) ([]int32, bool) {
	find := newFinder(w.text)
	view := make([]int32, 0, 1024)
	for i, f := range m.all {
		if i&0x3fff == 0 && off() {
			return nil, false
		}
		if !w.levels[f.Level] || w.rule != nil && f.Rule != w.rule {
			continue
		}
		if w.check >= 0 && int(m.of[i]) != w.check {
			continue
		}
		if find.in(f.Path) {
			view = append(view, int32(i))
		}
	}
	n := 0
	gone := false
	slices.SortStableFunc(view, func(a, b int32) int {
		if n++; n&0xffff == 0 && !gone {
			gone = off()
		}
		if gone { // called off: any order will do
			return 0
		}
		x, y := m.all[a], m.all[b]
		c := 0
		switch w.key {
		case bySize:
			c = cmp.Compare(x.Size, y.Size)
		case byRule:
			c = cmp.Compare(x.Rule.ID, y.Rule.ID)
		case byLevel:
			c = cmp.Compare(y.Level, x.Level)
		}
		if c == 0 && w.key != byPath {
			return cmp.Or(cmp.Compare(x.Path, y.Path), cmp.Compare(x.Rule.ID, y.Rule.ID))
		}
		if w.key == byPath {
			c = cmp.Or(cmp.Compare(x.Path, y.Path), cmp.Compare(x.Rule.ID, y.Rule.ID))
		}
		if w.descending {
			return -c
		}
		return c
	})
	return view, !gone && !off()
}

// finder looks for a text in paths, whatever its case. ASCII is folded without an allocation, since
// there may be a million paths.
type finder struct {
	text  string
	ascii bool
}

func newFinder(s string) finder {
	s = strings.ToLower(strings.TrimSpace(s))
	f := finder{text: s, ascii: true}
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			f.ascii = false
		}
	}
	return f
}

func (f finder) in(s string) bool {
	if f.text == "" {
		return true
	}
	if !f.ascii {
		return strings.Contains(strings.ToLower(s), f.text)
	}
	n := len(f.text)
	lo := f.text[0]
	up := lo
	if lo >= 'a' && lo <= 'z' {
		up -= 'a' - 'A'
	}
	for i := 0; i+n <= len(s); i++ {
		if c := s[i]; c != lo && c != up {
			continue
		}
		j := 1
		for j < n {
			c := s[i+j]
			if c >= 'A' && c <= 'Z' {
				c += 'a' - 'A'
			}
			if c != f.text[j] {
				break
			}
			j++
		}
		if j == n {
			return true
		}
	}
	return false
}
