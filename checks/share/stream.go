package share

import (
	"bytes"
	"cmp"
	"fmt"
	"os"
	"slices"
	"time"

	"loadline/checks/internal/disk"
)

const (
	blockBytes = 8 << 20 // of one write: several calls of NFS, which are under way at a time
	smallBytes = 4096    // of a small file
	mostParts  = 32      // of the stream: each is flushed and timed
	partTime   = 4       // a quarter of a second or less, as a divisor of one
)

// smallFiles times making, writing, flushing and closing, one file after the other, as a copy does.
func (t *trial) smallFiles() error {
	content := make([]byte, min(smallBytes, t.bytes))
	pattern(content, 2, 0)
	var times []time.Duration
	begun := t.now()
	for i := range t.wishes.Files {
		if t.now().Sub(begun) > t.wishes.Time {
			break
		}
		name := fmt.Sprintf("small-%d", i)
		start := t.now()
		var f *os.File
		if err := t.call("making a file", func() (err error) { f, err = t.in.create(name); return err }); err != nil {
			return t.fail("making a small file", err)
		}
		if err := t.finish(f, func() error { _, err := f.Write(content); return err }); err != nil {
			return err
		}
		times = append(times, t.now().Sub(start))
		if err := t.call("removing a file", func() error { return t.in.remove(name) }); err != nil {
			return t.fail("removing a small file", err)
		}
		t.progress(0.3+0.15*float64(i+1)/float64(t.wishes.Files), "Timing small files")
	}
	if len(times) == 0 {
		return nil
	}
	slices.Sort(times)
	t.update(func(r *Result) { r.PerFile = times[len(times)/2] })
	return nil
}

// part is a piece of the stream that was flushed before the next began.
type part struct {
	bytes int64
	took  time.Duration
}

func (p part) rate() float64 { return float64(p.bytes) / p.took.Seconds() }

// stream writes one long file in parts, flushes after each, and reads it back. rate is a first
// guess, bytes a second, that sets the size of a part.
func (t *trial) stream(rate float64) error {
	const seed = 3
	size := partSize(rate, t.wishes.Time, t.bytes)
	var f *os.File
	if err := t.call("making a file", func() (err error) { f, err = t.in.create("stream"); return err }); err != nil {
		return t.fail("making a file", err)
	}
	var parts []part
	var written int64
	var spent time.Duration
	block := make([]byte, blockBytes)
	doing, err := "", error(nil)
	for written < t.bytes && spent < t.wishes.Time && err == nil {
		p := part{bytes: min(size, t.bytes-written)}
		for at := int64(0); at < p.bytes && err == nil; {
			n := min(p.bytes-at, blockBytes)
			b := block[:n]
			pattern(b, seed, written)
			start := t.now()
			doing = "writing a stream"
			err = t.call(doing, func() error { _, err := f.Write(b); return err })
			p.took += t.now().Sub(start)
			written += n
			at += n
		}
		if err == nil {
			start := t.now()
			doing = "flushing a stream"
			err = t.call("flushing", func() error { return disk.Flush(f) })
			p.took += t.now().Sub(start)
		}
		if err == nil {
			parts = append(parts, p)
		}
		spent += p.took
		t.progress(0.45+0.4*max(float64(written)/float64(t.bytes), min(1, spent.Seconds()/t.wishes.Time.Seconds())), "Measuring the rate")
	}
	if closed := t.tidy("closing", f.Close); err == nil && closed != nil {
		doing, err = "closing a stream", closed
	}
	if err != nil {
		if disk.Full(err) {
			doing = fmt.Sprintf("%s of %d bytes, where the share said that %d were free", doing, written, t.at.space.Free)
		}
		return t.failBytes(doing, err)
	}
	t.update(func(r *Result) {
		r.Written = written
		r.Rate, r.RateLow, r.RateHigh = rates(parts)
	})
	return t.readBack(seed, written)
}

// partSize is how much to write before each flush: about as much as takes a quarter of a second, and
// at most what makes mostParts parts of the time or the bytes.
func partSize(rate float64, longest time.Duration, total int64) int64 {
	per := min(time.Second/partTime, longest/mostParts)
	size := int64(rate * per.Seconds())
	size = min(size, total/8)
	return max(size/patternBytes, 1) * patternBytes
}

// rates returns the rate of all parts, of the slowest quarter and of the fastest.
func rates(parts []part) (all, low, high float64) {
	if len(parts) == 0 {
		return 0, 0, 0
	}
	sorted := slices.Clone(parts)
	slices.SortFunc(sorted, func(a, b part) int { return cmp.Compare(a.rate(), b.rate()) })
	sum := func(list []part) float64 {
		var s part
		for _, p := range list {
			s.bytes += p.bytes
			s.took += p.took
		}
		if s.took <= 0 {
			return 0
		}
		return s.rate()
	}
	quarter := (len(sorted) + 3) / 4
	return sum(sorted), sum(sorted[:quarter]), sum(sorted[len(sorted)-quarter:])
}

// readBack compares what the share gives back with what was written, for as long as the stream may
// take; what is beyond that is only known to have been flushed.
func (t *trial) readBack(seed uint64, written int64) error {
	t.progress(0.85, "Reading back")
	var f *disk.Reader
	err := t.call("opening a file again", func() (err error) { f, err = t.in.openPast("stream"); return err })
	if f != nil {
		defer func() { _ = t.tidy("closing", f.Close) }() // nothing was written through it
	}
	if err != nil {
		return t.fail("opening a stream again that was just written", err)
	}
	if size := f.Size(); size != written {
		return t.lost(fmt.Sprintf("wrote %d bytes, flushed and closed; the file has %d", written, size))
	}
	got, want := disk.Buffer(blockBytes), make([]byte, blockBytes)
	begun := t.now()
	for at := int64(0); at < written && t.now().Sub(begun) < t.wishes.Time; {
		expect := want[:min(blockBytes, written-at)]
		pattern(expect, seed, at)
		n := 0
		err := t.call("reading back", func() (err error) { n, err = f.Fill(got, at); return err })
		if err != nil {
			return t.failBytes("reading back", err)
		}
		if back := got[:n]; !bytes.Equal(back, expect) {
			return t.lost(fmt.Sprintf("read back a stream of %d bytes: the block at byte %d is not what was written%s",
				written, at, firstDifference(expect, back)))
		}
		at += int64(len(expect))
		t.progress(0.85+0.13*float64(at)/float64(written), "Reading back")
	}
	t.update(func(r *Result) { r.passed(f) })
	return nil
}
