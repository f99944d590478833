package share

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"time"

	"loadline/checks/internal/disk"
)

// dateStep is the coarsest step in which a file system keeps dates: 2 s on vfat (kernel
// documentation, filesystems/vfat; from memory).
const dateStep = 2 * time.Second

// clockTick is the coarsest step in which a kernel's clock of files ticks: one of CONFIG_HZ=100
// (measured; some 8 ms more were seen).
const clockTick = 20 * time.Millisecond

// patternBytes is the piece that one state of the generator fills.
const patternBytes = 64 << 10

// pattern fills buf with the bytes that follow from seed for the place at, a multiple of
// patternBytes, the same every time: neither a share that compresses nor one that gives back
// another block can imitate them.
func pattern(buf []byte, seed uint64, at int64) {
	for i := uint64(at / patternBytes); len(buf) > 0; i++ {
		piece := buf[:min(len(buf), patternBytes)]
		buf = buf[len(piece):]
		src := rand.NewPCG(seed, i)
		for len(piece) >= 8 {
			binary.LittleEndian.PutUint64(piece, src.Uint64())
			piece = piece[8:]
		}
		for k, v := 0, src.Uint64(); k < len(piece); k++ {
			piece[k] = byte(v >> (8 * k))
		}
	}
}

// probe writes one file, flushes, closes and reads it back, and does with it what a copy does with
// a file. It returns how many bytes a second were written, 0 unknown.
func (t *trial) probe() (rate float64, err error) {
	const seed = 1
	want := make([]byte, max(1, min(probeBytes, t.bytes)))
	pattern(want, seed, 0)
	var f *os.File
	if err := t.call("making a file", func() (err error) { f, err = t.in.create("probe"); return err }); err != nil {
		return 0, t.fail("making a file", err)
	}
	start, begun := time.Now(), t.now() // the one to compare dates with, the other to measure by
	if err := t.finish(f, func() error { _, err := f.Write(want); return err }); err != nil {
		return 0, err
	}
	end := time.Now()
	if took := t.now().Sub(begun); took > 0 { // some clocks tick coarsely
		rate = float64(len(want)) / took.Seconds()
	}

	var back []byte
	var modified time.Time
	var past *disk.Reader
	err = t.call("opening a file again", func() error {
		f, err := t.in.openPast("probe")
		if err != nil {
			return err
		}
		defer f.Close()
		past = f
		info, err := f.File().Stat()
		if err != nil {
			return err
		}
		modified = info.ModTime()
		// Whatever is longer than what was written shows in its length.
		back = disk.Buffer(len(want) + 1)
		n, err := f.Fill(back, 0)
		back = back[:n]
		return err
	})
	if err != nil {
		return 0, t.fail("opening a file again that was just written", err)
	}
	if !bytes.Equal(back, want) {
		return 0, t.lost(fmt.Sprintf("wrote %d bytes, flushed and closed; read back %d bytes%s",
			len(want), len(back), firstDifference(want, back)))
	}
	t.update(func(r *Result) {
		r.passed(past)
		// The date is of some moment between start and end.
		r.ClockKnown = true
		r.ClockAhead = ahead(modified, start, end)
	})
	if err := t.habits(); err != nil {
		return 0, err
	}
	return rate, nil
}

// ahead is how far a date is outside the time in which it was given; 0 within.
func ahead(date, from, to time.Time) time.Duration {
	// Without the monotonic clock, which a date of the share knows nothing of.
	from, to = from.Round(0), to.Round(0)
	switch {
	case date.Before(from):
		d := date.Sub(from)
		// A date that is rounded down, to whole or even seconds or to a tick, is not behind.
		if -d < dateStep && date.Nanosecond() == 0 || -d < clockTick {
			return 0
		}
		return d
	case date.After(to):
		return date.Sub(to)
	}
	return 0
}

// passed notes how far a reading went past this computer's cache. Of several the worst counts.
func (r *Result) passed(f *disk.Reader) {
	switch {
	case r.FromCache || f.Way() == disk.Cached:
		r.FromCache, r.PastCache = true, ""
	case r.PastCache == "" || f.Way() != disk.Direct:
		r.PastCache = f.By()
	}
}

// finish writes with write, flushes and closes a file. The first flush tells: after it the system
// has forgotten what did not arrive (fsync(2)).
func (t *trial) finish(f *os.File, write func() error) error {
	err := t.call("writing", write)
	doing := "writing a file"
	if err == nil {
		doing = "flushing a file"
		err = t.call("flushing", func() error { return disk.Flush(f) })
	}
	closed := t.tidy("closing", f.Close)
	if err == nil && closed != nil {
		doing, err = "closing a file", closed
	}
	if err != nil {
		return t.failBytes(doing, err)
	}
	return nil
}

// lost records bytes that did not come back.
func (t *trial) lost(detail string) error {
	t.update(func(r *Result) { r.Problems = append(r.Problems, Problem{Rule: ruleLost, Detail: detail}) })
	return errProblem
}

func firstDifference(want, back []byte) string {
	n := min(len(want), len(back))
	for i := range n {
		if want[i] != back[i] {
			return fmt.Sprintf(", different from byte %d on", i)
		}
	}
	if len(want) == len(back) {
		return ""
	}
	return fmt.Sprintf(", the same up to byte %d", n)
}

// habits renames and dates the file, gives it away where this is root, and measures what the
// smallest file takes up.
func (t *trial) habits() error {
	err := t.call("renaming a file", func() error { return t.in.rename("probe", "renamed") })
	if err != nil {
		return t.fail("renaming a file", err)
	}
	date := time.Date(2001, 2, 3, 4, 5, 6, 0, time.UTC)
	var came time.Time
	var tried, kept bool
	var owner error
	doing := "opening a renamed file again"
	err = t.call("setting dates", func() error {
		f, err := t.in.reopen("renamed", 0)
		if err != nil {
			return err
		}
		defer f.Close()
		doing = "setting the date of a file"
		if err := setDate(f, t.in, "renamed", date); err != nil {
			return err
		}
		info, err := t.in.root.Lstat("renamed")
		if err != nil {
			return err
		}
		came = info.ModTime()
		tried, kept, owner = giveAway(f)
		return nil
	})
	if err != nil {
		return t.fail(doing, err)
	}
	if came.Sub(date).Abs() > dateStep {
		t.update(func(r *Result) {
			r.Problems = append(r.Problems, Problem{
				Rule:   ruleOwnerNotKept,
				Detail: fmt.Sprintf("dates are not kept: set %s, came back %s", date.Format(time.RFC3339), came.UTC().Format(time.RFC3339)),
			})
		})
	}
	switch {
	case tried && owner != nil && ruleOf(owner) != "" && ruleOf(owner) != ruleDenied:
		return t.fail("giving a file to another owner", owner)
	case tried && (owner != nil || !kept):
		t.update(func(r *Result) {
			r.Problems = append(r.Problems, Problem{Rule: ruleOwnerNotKept, Detail: "giving a file to another owner as root", Err: owner})
		})
	}
	return t.unit()
}

// unit measures what a file of one byte takes up on the share.
func (t *trial) unit() error {
	var f *os.File
	if err := t.call("making a file", func() (err error) { f, err = t.in.create("unit"); return err }); err != nil {
		return t.fail("making a file", err)
	}
	if err := t.finish(f, func() error { _, err := f.Write([]byte{1}); return err }); err != nil {
		return err
	}
	var unit int64
	// Opened anew the client asks the server, which alone knows (nfs(5), close-to-open).
	err := t.call("opening a file again", func() error {
		f, err := t.in.reopen("unit", 0)
		if err != nil {
			return err
		}
		defer f.Close()
		unit, err = allocated(f)
		return err
	})
	if err != nil {
		return t.fail("opening a file again that was just written", err)
	}
	t.update(func(r *Result) { r.Unit = unit })
	return nil
}
