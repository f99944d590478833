package digest

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/share"
)

// stretchSize is from how many bytes on a rate says something of a place on the disk and not of the caches
// and queues before it (common practice, no source).
const stretchSize = 64 << 20

// A Stretch is a part of a file and how long the disk took to give it.
type Stretch struct {
	Part
	Took time.Duration
}

// Rate is bytes a second; 0 where no time passed.
func (s *Stretch) Rate() float64 {
	if s.Took <= 0 {
		return 0
	}
	return float64(s.Length) / s.Took.Seconds()
}

// stretcher cuts the reading of one file into stretches.
type stretcher struct {
	r    *Result
	size int64
	now  Stretch
	last time.Time // when the last bytes came
}

// add adds bytes that were asked for and came. Of calls that overlap each counts from when the one before it ended.
func (s *stretcher) add(n int64, began, came time.Time) {
	if began.Before(s.last) {
		began = s.last
	}
	if came.After(began) {
		s.now.Took += came.Sub(began)
		s.last = came
	}
	s.now.Length += n
	if s.now.Length >= s.size {
		s.r.Stretches = append(s.r.Stretches, s.now)
		s.now = Stretch{Part: Part{Offset: s.now.Offset + s.now.Length}}
	}
}

// end lets the last stretch take in what is left of the file.
func (s *stretcher) end() {
	if last := len(s.r.Stretches) - 1; last >= 0 && s.now.Length > 0 {
		s.r.Stretches[last].Length += s.now.Length
		s.r.Stretches[last].Took += s.now.Took
	}
}

// Passed counts the files that were read past this computer's cache, and those through it, so perhaps not from the disk.
func (r *Reading) Passed() (past, through int64) {
	for way, n := range r.Ways() {
		if way.Past() {
			past += n
		} else {
			through += n
		}
	}
	return past, through
}

// Reread reads a part of a file once more, past the cache, and returns how long the disk took.
func (r *Reading) Reread(ctx context.Context, file string, p Part) (Stretch, error) {
	path := filepath.Join(r.Root, filepath.FromSlash(file))
	f, err := share.Guard(ctx, r.Deadline, func() (*disk.Reader, error) { return disk.OpenPast(path) })
	if err != nil {
		return Stretch{}, err
	}
	s := Stretch{Part: Part{Offset: p.Offset &^ (disk.Align - 1)}}
	for end := p.Offset + p.Length; s.Offset+s.Length < end; {
		type read struct {
			n    int
			took time.Duration
		}
		// A call that hangs keeps its memory.
		memory := disk.Buffer(int(min(end-s.Offset-s.Length, blockLarge)))
		got, err := share.Guard(ctx, r.Deadline, func() (read, error) {
			began := r.Now()
			n, err := f.Fill(memory, s.Offset+s.Length)
			return read{n, r.Now().Sub(began)}, err
		})
		if share.Silent(err) {
			return Stretch{}, err // the file is left to the call that hangs
		}
		s.Length += int64(got.n)
		s.Took += got.took
		if err != nil {
			return Stretch{}, errors.Join(err, f.Close())
		}
		if got.n < len(memory) {
			break // the file ends here
		}
	}
	return s, f.Close()
}

// A Point is the rate at one place of a run.
type Point struct {
	At   int64   `json:"at"`   // bytes that the run had read
	Rate float64 `json:"rate"` // bytes a second, on the way there from the point before
}

// mostPoints is how many points a curve has: more than a card is wide.
const mostPoints = 512

// curve is the rate over a run, in ever larger steps, so that it never grows.
type curve struct {
	mu     sync.Mutex
	step   int64
	points []Point
	last   struct {
		bytes int64
		at    time.Time
	}
}

func (c *curve) add(bytes int64, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.step == 0 {
		c.step = stretchSize / 4
		c.last.at = now
		return
	}
	passed := now.Sub(c.last.at)
	if bytes-c.last.bytes < c.step || passed <= 0 {
		return
	}
	c.points = append(c.points, Point{bytes, float64(bytes-c.last.bytes) / passed.Seconds()})
	c.last.bytes, c.last.at = bytes, now
	if len(c.points) < mostPoints {
		return
	}
	c.step *= 2
	for i := range mostPoints / 2 {
		a, b := c.points[2*i], c.points[2*i+1]
		c.points[i] = Point{b.At, 2 * a.Rate * b.Rate / (a.Rate + b.Rate)}
	}
	c.points = c.points[:mostPoints/2]
}

// Curve is the rate over the run so far.
func (r *Reading) Curve() []Point {
	r.curve.mu.Lock()
	defer r.curve.mu.Unlock()
	return slices.Clone(r.curve.points)
}
