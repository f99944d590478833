package checks

import (
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks/internal/meter"
	"loadline/checks/walk"
)

// A Phase is a piece of long work that a run shows: its text, how far it is, at which rate, and how long
// it still takes. Fields that do not apply stay zero.
type Phase struct {
	Text string // for people: "Reading both sides"
	// Meters count the bytes of what is read. With one, its rate stands behind the text; with several,
	// each with its name.
	Meters []*meter.Meter
	// Walk counts folders and entries where the phase walks over another disk than the source.
	Walk *walk.Progress
	// Entries counts what is done where neither bytes nor folders say it: files, rows.
	Entries *atomic.Int64
	// Of is how many Entries there will be; 0 while unknown.
	Of int64
	// Fraction is what is done where the phase is told that by others, 0 to 1; nil or negative: unknown.
	Fraction func() float64

	began time.Time
	rates *meter.Rates
}

// silentFor is from when on the silence of a stream is shown.
const silentFor = 3 * time.Second

// Phase shows a piece of work until the next one begins or the check ends. Safe for concurrent use.
func (pass *Pass) Phase(p Phase) { pass.run.phases.enter(&p) }

// Step shows work whose share of the whole somebody else knows: the write trial's. Safe for concurrent use.
func (pass *Pass) Step(text string, done float64) {
	pass.run.phases.step(text, done)
}

// phases holds what a run does at the moment.
type phases struct {
	mu  sync.Mutex
	now *Phase
}

func (s *phases) enter(p *Phase) {
	p.began = time.Now()
	p.rates = meter.Watch(p.Meters)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = p
}

func (s *phases) step(text string, done float64) {
	s.mu.Lock()
	began := time.Now()
	if s.now != nil && s.now.Text == text {
		began = s.now.began
	}
	s.now = &Phase{Text: text, Fraction: func() float64 { return done }, began: began, rates: meter.Watch(nil)}
	s.mu.Unlock()
}

// fill completes a progress with what the phase knows.
func (s *phases) fill(p *Progress, expect int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	ph := s.now
	if ph == nil {
		return
	}
	now := time.Now()
	p.Phase = ph.Text
	if w := ph.Walk; w != nil {
		p.Folders, p.Entries, p.Bytes = w.Folders.Load(), w.Entries.Load(), w.Bytes.Load()
	}
	if ph.Entries != nil {
		p.Entries = ph.Entries.Load()
	}
	switch {
	case len(ph.Meters) > 0:
		ph.fillRates(p, now)
		return
	case ph.Fraction != nil:
		p.Done = ph.Fraction()
	case ph.Of > 0:
		p.Done = min(float64(p.Entries)/float64(ph.Of), 0.99)
	case ph.Walk == nil && ph.Entries == nil && p.Entries > 0 && expect > 0:
		p.Done = min(float64(p.Entries)/float64(expect), 0.99)
	}
	if since := now.Sub(ph.began); p.Done > 0.02 && since > time.Second {
		p.Left = time.Duration(float64(since) * (1 - p.Done) / p.Done)
	}
}

func (ph *Phase) fillRates(p *Progress, now time.Time) {
	ph.rates.Sample(now)
	p.Left, p.Done = ph.rates.Left(now), ph.rates.Done()
	p.Bytes = ph.Meters[len(ph.Meters)-1].Done.Load()
	var rates []string
	for i, m := range ph.Meters {
		if quiet := m.Silent(now); quiet > silentFor {
			p.Phase = fmt.Sprintf("Waiting for %s, silent for %s", m.Name, Span(quiet.Truncate(time.Second)))
			return
		}
		rate := ph.rates.Rate(i, now)
		p.Rate += rate
		if rate <= 0 {
			continue
		}
		text := Rate(rate)
		if len(ph.Meters) > 1 {
			text += " from " + m.Name
		}
		rates = append(rates, text)
	}
	if len(rates) == len(ph.Meters) {
		p.Phase = ph.Text + ", " + strings.Join(rates, ", ")
	}
}
