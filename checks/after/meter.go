package after

import (
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/walk"
)

// A meter tells how far the stage after copying is. It fills in what checks.Run cannot know.
type meter struct {
	text  atomic.Pointer[string]
	share walk.Progress // of the walk over the share

	mu      sync.Mutex
	sides   []*digest.Side
	total   int64 // bytes of one side
	proven  *atomic.Int64
	samples []sample
}

type sample struct {
	at    time.Time
	bytes [2]int64 // position, what earlier runs have proven included
	read  [2]int64 // read in this run
}

const (
	// rateOver is the time over which a rate is measured: long enough for a disk's caches and
	// folders of small files to even out (common practice, no source).
	rateOver = 20 * time.Second
	// silentFor is from when on silence is shown.
	silentFor = 3 * time.Second
)

// phase says what is going on outside the reading of files; "" leaves it to checks.Run.
func (m *meter) phase(text string) { m.text.Store(&text) }

// start begins the reading of files.
func (m *meter) start(sides []*digest.Side, total int64, proven *atomic.Int64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.sides, m.total, m.proven, m.samples = sides, total, proven, nil
}

func (m *meter) stop() { m.start(nil, 0, nil) }

// fill completes a progress. It is called for one event at a time.
func (m *meter) fill(p *checks.Progress) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if text := m.text.Load(); text != nil && *text != "" {
		p.Phase, p.Done, p.Left = *text, -1, -1
		if m.sides == nil {
			p.Folders, p.Entries, p.Bytes = m.share.Folders.Load(), m.share.Entries.Load(), m.share.Bytes.Load()
		}
	}
	if m.sides == nil {
		return
	}
	now := sample{at: time.Now()}
	for i, s := range m.sides {
		now.bytes[i], now.read[i] = s.Bytes.Load(), s.Read.Load()
	}
	if n := len(m.samples); n == 0 || now.at.Sub(m.samples[n-1].at) >= 500*time.Millisecond {
		m.samples = append(m.samples, now)
		for len(m.samples) > 2 && now.at.Sub(m.samples[1].at) >= rateOver {
			m.samples = m.samples[1:]
		}
	}
	first := m.samples[0]
	span := now.at.Sub(first.at).Seconds()
	var rate [2]float64
	p.Left = -1
	for i := range m.sides {
		if span > 1 {
			rate[i] = float64(now.read[i]-first.read[i]) / span
		}
		if left := m.total - now.bytes[i]; left > 0 && rate[i] > 0 {
			p.Left = max(p.Left, time.Duration(float64(left)/rate[i]*float64(time.Second)))
		} else if left > 0 {
			p.Left = -1
			break
		}
	}
	p.Entries, p.Bytes = m.proven.Load(), now.bytes[digest.Share]
	p.Done = -1
	if m.total > 0 {
		p.Done = min(float64(now.bytes[0]+now.bytes[1])/float64(2*m.total), 0.999)
	}
	if text := m.text.Load(); text != nil && *text != "" {
		return
	}
	p.Phase = "Reading both sides"
	for _, s := range m.sides {
		if quiet := now.at.Sub(time.Unix(0, s.Heard.Load())); quiet > silentFor && s.Bytes.Load() < m.total {
			p.Phase = fmt.Sprintf("Waiting for %s, silent for %s", s.Name, checks.Span(quiet.Truncate(time.Second)))
			return
		}
	}
	if span > 1 {
		p.Phase = fmt.Sprintf("Reading both sides, %s from the source, %s from the share", checks.Rate(rate[0]), checks.Rate(rate[1]))
	}
}
