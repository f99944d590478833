// Package meter counts what long work has read, for whoever shows how far it is. Workers only add to
// atomics; rates are made by the one who shows them.
package meter

import (
	"sync/atomic"
	"time"
)

// A Meter counts one stream of bytes, such as one side of a comparison. The zero value is ready.
type Meter struct {
	Name  string       // for people: "the source"
	Total atomic.Int64 // bytes in all; 0 while unknown
	Done  atomic.Int64 // bytes done, those of earlier runs included
	Read  atomic.Int64 // bytes read in this run: they make the rate
	Heard atomic.Int64 // when it last answered, nanoseconds since 1970; 0: its silence is not told
}

// Hear notes that the stream answered.
func (m *Meter) Hear(now time.Time) { m.Heard.Store(now.UnixNano()) }

// Silent is how long the stream has not answered, 0 where that is not told or all is done.
func (m *Meter) Silent(now time.Time) time.Duration {
	heard := m.Heard.Load()
	if heard == 0 || m.Done.Load() >= m.Total.Load() {
		return 0
	}
	return now.Sub(time.Unix(0, heard))
}

const (
	// over is the time over which a rate is measured: long enough for a disk's caches and folders
	// of small files to even out (common practice, no source).
	over = 20 * time.Second
	// sampleEvery keeps the samples few.
	sampleEvery = 500 * time.Millisecond
	// rateAfter is how much time a rate needs to say anything.
	rateAfter = time.Second
)

// Rates turns samples of meters into rates. It is for one goroutine.
type Rates struct {
	meters  []*Meter
	samples []sample
}

type sample struct {
	at   time.Time
	read []int64
}

// Watch returns the rates of meters, none yet.
func Watch(meters []*Meter) *Rates { return &Rates{meters: meters} }

// Sample looks at the meters.
func (r *Rates) Sample(now time.Time) {
	if n := len(r.samples); n > 0 && now.Sub(r.samples[n-1].at) < sampleEvery {
		return
	}
	s := sample{at: now, read: make([]int64, len(r.meters))}
	for i, m := range r.meters {
		s.read[i] = m.Read.Load()
	}
	r.samples = append(r.samples, s)
	for len(r.samples) > 2 && now.Sub(r.samples[1].at) >= over {
		r.samples = r.samples[1:]
	}
}

// Rate is how fast meter i reads, bytes a second; 0 while that is unknown.
func (r *Rates) Rate(i int, now time.Time) float64 {
	if len(r.samples) == 0 {
		return 0
	}
	span := now.Sub(r.samples[0].at)
	if span < rateAfter {
		return 0
	}
	return float64(r.meters[i].Read.Load()-r.samples[0].read[i]) / span.Seconds()
}

// Left is how long the slowest meter still takes; negative while that is unknown.
func (r *Rates) Left(now time.Time) time.Duration {
	left := time.Duration(-1)
	for i, m := range r.meters {
		rest := m.Total.Load() - m.Done.Load()
		if rest <= 0 {
			left = max(left, 0)
			continue
		}
		rate := r.Rate(i, now)
		if rate <= 0 {
			return -1
		}
		left = max(left, time.Duration(float64(rest)/rate*float64(time.Second)))
	}
	return left
}

// Done is how much of all meters is done, 0 to 1; negative while that is unknown.
func (r *Rates) Done() float64 {
	var done, total int64
	for _, m := range r.meters {
		done += m.Done.Load()
		total += m.Total.Load()
	}
	if total == 0 {
		return -1
	}
	return min(float64(done)/float64(total), 0.999)
}
