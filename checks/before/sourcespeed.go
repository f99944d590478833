package before

import (
	"cmp"
	"context"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// The sample that the source's rate is measured by (common practice, no source): large files, so that
// the rate is the disk's and not that of opening files, from several places of the disk, and so little
// that nobody waits long.
const (
	sampleLeast = 8 << 20   // bytes of a file that says something
	samplePiece = 32 << 20  // bytes read of one file
	sampleMost  = 256 << 20 // bytes in all
	sampleTime  = 5 * time.Second
	sampleBlock = 4 << 20
)

// A sample keeps the largest files of a walk.
type sample struct {
	mu    sync.Mutex
	files []sampled
}

type sampled struct {
	source int
	path   string
	size   int64
}

// see takes the large files of a folder.
func (s *sample) see(pass *checks.Pass, d *walk.Dir) {
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Kind != walk.File || e.Failed || e.Size < sampleLeast || e.Blocks >= 0 && e.Blocks*512 < sampleLeast || !pass.Copied(d, e) {
			continue
		}
		s.mu.Lock()
		if len(s.files) < sampleMost/samplePiece || e.Size > s.files[len(s.files)-1].size {
			s.files = append(s.files, sampled{d.Source, d.Join(e.Name), e.Size})
			slices.SortFunc(s.files, func(a, b sampled) int {
				return cmp.Or(cmp.Compare(b.size, a.size), cmp.Compare(a.source, b.source), strings.Compare(a.path, b.path))
			})
			s.files = s.files[:min(len(s.files), sampleMost/samplePiece)]
		}
		s.mu.Unlock()
	}
}

// sourceSpeed is how fast the source gives what is to be copied.
type sourceSpeed struct {
	rate  float64 // bytes a second; 0 unknown
	bytes int64   // that were read for it
	usb   float64 // line rate of its USB link, bits a second; 0 unknown or none
}

// speedOf measures the source, or takes what a stand-in says of it.
func speedOf(ctx context.Context, pass *checks.Pass, s *sample) sourceSpeed {
	if f := pass.Job.StandInSource; f != nil {
		return sourceSpeed{rate: f.Rate, bytes: sampleMost, usb: f.USB}
	}
	if pass.Job.StandIn != nil {
		return sourceSpeed{} // the demo's files are small and are in a temporary folder
	}
	usb := 0 // of several disks the slowest
	for _, d := range pass.Job.Disks() {
		mbits, err := share.Guard(ctx, pass.Job.Deadline, func() (int, error) { return disk.USBSpeed(d.Source), nil })
		if err == nil && mbits > 0 && (usb == 0 || mbits < usb) {
			usb = mbits
		}
	}
	speed := sourceSpeed{usb: float64(usb) * 1e6}
	if r := checks.StateOf[Reading](pass, everyByteReads); r != nil && r.Rate > 0 && r.Bytes >= sampleLeast {
		speed.rate, speed.bytes = r.Rate, r.Bytes // the whole of it was read just now
		return speed
	}
	pass.Phase(checks.Phase{Text: "Measuring how fast the source reads"})
	slices.SortFunc(s.files, func(a, b sampled) int {
		return cmp.Or(cmp.Compare(a.source, b.source), strings.Compare(a.path, b.path))
	})
	began := time.Now()
	for _, f := range s.files {
		if ctx.Err() != nil || time.Since(began) > sampleTime {
			break
		}
		n, err := readSample(ctx, pass, f)
		speed.bytes += n
		if err != nil {
			break // what cannot be read is the business of other checks
		}
	}
	// Less than one piece says more of the first seek than of the disk.
	if took := time.Since(began); speed.bytes >= sampleLeast && took > 0 {
		speed.rate = float64(speed.bytes) / took.Seconds()
	}
	return speed
}

// errCached says that what was read may have come from this computer's memory.
var errCached = errors.New("read from memory")

// readSample reads the head of a file past the cache and returns how much counts.
func readSample(ctx context.Context, pass *checks.Pass, f sampled) (int64, error) {
	type opened struct{ r *disk.Reader }
	name := filepath.Join(pass.Job.Disk(f.source).Source, filepath.FromSlash(f.path))
	o, err := share.Guard(ctx, pass.Job.Deadline, func() (opened, error) {
		r, err := disk.OpenPast(name)
		return opened{r}, err
	})
	if err != nil {
		return 0, err
	}
	memory := disk.Buffer(sampleBlock)
	read := int64(0)
	for read < samplePiece && err == nil && ctx.Err() == nil {
		at := read
		var n int
		n, err = share.Guard(ctx, pass.Job.Deadline, func() (int, error) { return o.r.ReadAt(memory, at) })
		if share.Silent(err) {
			return read, err // the call may still write into memory, and holds the file
		}
		read += int64(n)
	}
	if o.r.Way() == disk.Cached {
		read, err = 0, errCached
	}
	if closed := o.r.Close(); err == nil {
		err = closed
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return read, err
}
