package before

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/meter"
	"loadline/checks/names"
	"loadline/checks/share"
)

// readAll reads what is to be copied, one disk after the other. A disk that cannot be read on does not keep the
// others from being read.
func (r *Reading) readAll(ctx context.Context, pass *checks.Pass) error {
	e := &r.read
	defer pass.KeepAwake("Reading the whole disk")()
	pass.Phase(checks.Phase{Text: "Looking for checksum lists"})
	readings := make([]*digest.Reading, len(e.disks))
	meters := make([]*meter.Meter, len(e.disks))
	for i, d := range e.disks {
		if err := d.lists.read(ctx); err != nil {
			return err
		}
		meters[i] = &meter.Meter{Name: "the disk"}
		if len(e.disks) > 1 {
			meters[i].Name = fmt.Sprintf("disk %d", i+1)
		}
		meters[i].Total.Store(d.list.Bytes)
		readings[i] = &digest.Reading{
			Root: d.root, Name: meters[i].Name, Deadline: max(pass.Job.Deadline, readPatience), Places: d.places, Memory: d.memory,
			Want: d.lists.want, Also: d.makeLong, Meter: meters[i], Stretch: everyByteStretch,
		}
		d.memory.Begin()
	}
	var end error
	var took time.Duration
	var curve []digest.Point
	for i, d := range e.disks {
		in := readings[i]
		in.Lanes, in.Seeks = digest.LanesOn(d.root)
		files := d.list.All()
		if in.Seeks {
			files = d.list.InDiskOrder(ctx, d.root, in.Deadline)
		}
		pass.Phase(checks.Phase{Text: "Reading every file", Meters: meters})
		d.before = r.Bytes
		began := time.Now()
		err := d.here(ctx, in)
		if err == nil {
			err = in.Run(ctx, files, func(f *digest.Result) { d.judge(pass, f) })
		}
		took += time.Since(began)
		r.Bytes += in.Meter.Read.Load()
		for _, p := range in.Curve() {
			curve = append(curve, digest.Point{At: d.before + p.At, Rate: p.Rate})
		}
		if ctx.Err() == nil && err == nil {
			err = d.confirmSlow(ctx, pass, in)
		}
		if end == nil {
			end = err
		}
		if ctx.Err() != nil {
			break
		}
	}
	if r.Bytes > 0 && took > 0 {
		r.Rate = float64(r.Bytes) / took.Seconds()
		pass.Fact("bytes_read", r.Bytes, "Read: %s in %s, %s", checks.Bytes(r.Bytes), checks.Span(took), checks.Rate(r.Rate))
	} else {
		pass.Fact("bytes_read", int64(0), "Read: nothing, since all of it was read before")
	}
	tellWays(pass, readings)
	if len(curve) > 1 {
		pass.Fact("rates", curve, "%s", rateText(curve))
		pass.Fact("bad_at", append([]int64{}, e.badAt...), "%s", choose(len(e.badAt) == 0, "No bad place on the way", "Bad places on the way: "+checks.Count(int64(len(e.badAt)))))
	}
	// Where everything was read before there was nothing to remember.
	needed := end != nil || ctx.Err() != nil || e.files > e.remembered || e.failed > 0
	for _, d := range e.disks {
		if closed := d.memory.Close(); closed != nil && d.recalled == nil && needed {
			d.recalled = closed
		}
	}
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(end, digest.ErrDying):
		return fmt.Errorf("%w; nothing more was read from it. First copy what can still be read to another disk, the most important first; only then read on: %s", end, e.kept())
	case errors.Is(end, digest.ErrGone), share.Silent(end):
		return fmt.Errorf("%w; look at its cable and power, then read on: %s", end, e.kept())
	case end != nil:
		return end
	}
	for _, d := range e.disks {
		if err := d.lists.missing(ctx, pass); err != nil {
			return err
		}
	}
	return e.disks[0].writeBaseline(ctx, pass) // of several disks there is none
}

// here reports by an error that the disk is not the one whose folders were listed.
func (e *diskReading) here(ctx context.Context, in *digest.Reading) error {
	if e.places == nil {
		return nil
	}
	if err := e.places.Here(ctx, in.Deadline); err != nil {
		return fmt.Errorf("%s: %w", in.Name, err)
	}
	return nil
}

// readPatience is how long a disk may stay silent: it may try for long before it gives up on a block (common
// practice, no source).
const readPatience = 2 * time.Minute

// mostMarks is how many bad places the line of the rate shows.
const mostMarks = 1000

// For tests: everyByteFile, if set, is told how many files were read; everyByteStretch, if not 0, is how many bytes
// a slow stretch must have to be reported.
var (
	everyByteFile    func(n int64)
	everyByteStretch int64
)

// A suspect is a stretch of a file that may be slow.
type suspect struct {
	path string
	digest.Stretch
}

// judge settles what became of one file.
func (e *diskReading) judge(pass *checks.Pass, f *digest.Result) {
	defer func() {
		if everyByteFile != nil {
			e.mu.Lock()
			n := e.files + e.failed
			e.mu.Unlock()
			everyByteFile(n)
		}
	}()
	long := e.longOf(f)
	replaced := f.Err != nil && len(f.Bad) == 0 && e.replaced(f.Path)
	if f.Whole() {
		before := int64(0)
		if f.Known {
			before = f.When.Unix()
		}
		e.list.Mark(&f.File, digest.Mark{Done: true, SHA256: f.Sums.SHA256, Before: before})
		e.whole(f.Path, f.Size, &f.Sums, f.When, f.Known)
		if found, rotted := e.rotted(f.Path, f.Size, f.Ident, &f.Sums); rotted {
			pass.Add(found)
		}
		e.lists.compare(pass, f.Path, f.Size, &f.Sums, long)
		e.mu.Lock()
		defer e.mu.Unlock()
		for _, s := range f.Stretches {
			e.rates = append(e.rates, s.Rate())
			e.slow = append(e.slow, suspect{f.Path, s})
		}
		return
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	switch {
	case errors.Is(f.Err, fs.ErrPermission):
		if names.ClutterAbove(f.Path) == "" {
			e.closed++
		}
		return
	case errors.Is(f.Err, fs.ErrNotExist), replaced, f.Changed, f.Err == nil && f.Length != f.Size:
		e.unstable = append(e.unstable, f.Path)
		return
	}
	e.failed++
	found := checks.Finding{Source: e.number, Path: f.Path, Rule: readFails, Level: checks.Fail, Size: f.Size}
	switch {
	case len(f.Bad) > 0:
		at, n := f.Bad[0].Offset, f.Lost()
		found.Part = &checks.Part{Offset: at, Length: n}
		found.Detail = fmt.Sprintf("cannot be read from byte %s on: %s; %s lost", checks.Count(at), checks.Reason(f.Err), lost(n))
		switch {
		case f.Cut:
			found.Detail = fmt.Sprintf("cannot be read from byte %s on: %s; the disk returned nothing more, so the rest was not read", checks.Count(at), checks.Reason(f.Err))
		case len(f.Bad) > 1:
			found.Detail += fmt.Sprintf(", in %s places", checks.Count(int64(len(f.Bad))))
		}
	case f.Err != nil:
		found.Detail = checks.Reason(f.Err)
		found.Part = &checks.Part{Offset: f.Got, Length: f.Size - f.Got}
	default:
		found.Part = &checks.Part{Offset: f.Got, Length: f.Length - f.Got}
		found.Detail = fmt.Sprintf("ends after %s of %s bytes", checks.Count(f.Got), checks.Count(f.Length))
	}
	if len(e.badAt) < mostMarks {
		e.badAt = append(e.badAt, e.before+f.At)
	}
	pass.Add(found)
}

// replaced reports whether something else, such as a link, has taken the place of a file since it was listed, or of a
// folder above it.
func (e *diskReading) replaced(path string) bool {
	info, err := share.Guard(context.Background(), readPatience, func() (fs.FileInfo, error) {
		return os.Lstat(filepath.Join(e.root, filepath.FromSlash(path)))
	})
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) || err == nil && !info.Mode().IsRegular()
}

const (
	slowShare = 0.1 // of the median rate
	// mostSuspects is how many slow stretches are read a second time.
	mostSuspects = 100
)

// confirmSlow reads again what was slow, and flags what is so again.
func (e *diskReading) confirmSlow(ctx context.Context, pass *checks.Pass, in *digest.Reading) error {
	if len(e.rates) == 0 {
		return nil
	}
	slices.Sort(e.rates)
	usual := e.rates[len(e.rates)/2]
	again := 0
	for _, s := range e.slow {
		if !slowerThan(&s.Stretch, slowShare*usual) || again >= mostSuspects {
			continue
		}
		if again++; again == 1 {
			pass.Phase(checks.Phase{Text: "Reading again what was slow"})
		}
		second, err := in.Reread(ctx, s.path, s.Part)
		if ctx.Err() != nil || share.Silent(err) {
			return err
		}
		if err == nil && slowerThan(&second, slowShare*usual) {
			pass.Add(checks.Finding{
				Source: e.number, Path: s.path, Rule: slowReading, Level: checks.Warn, Part: &checks.Part{Offset: s.Offset, Length: s.Length},
				Detail: fmt.Sprintf("%s from byte %s on came at %s, then at %s; usual was %s", checks.Bytes(s.Length), checks.Count(s.Offset), checks.Rate(s.Rate()), checks.Rate(second.Rate()), checks.Rate(usual)),
			})
		}
	}
	return nil
}

func slowerThan(s *digest.Stretch, rate float64) bool {
	return float64(s.Length) < s.Took.Seconds()*rate
}

// rateText says in words what the line of the rate shows.
func rateText(curve []digest.Point) string {
	rates := make([]float64, len(curve))
	for i, p := range curve {
		rates[i] = p.Rate
	}
	slices.Sort(rates)
	return fmt.Sprintf("Rate over the disk: %s in the middle, %s at its slowest, %s at its fastest", checks.Rate(rates[len(rates)/2]), checks.Rate(rates[0]), checks.Rate(rates[len(rates)-1]))
}

// tellWays says how the cache was passed.
func tellWays(pass *checks.Pass, readings []*digest.Reading) {
	past, cached := int64(0), int64(0)
	for _, in := range readings {
		p, through := in.Passed()
		past, cached = past+p, cached+through
	}
	if past > 0 {
		pass.Fact("past_cache", past, "Read past this computer's cache: %s", checks.Plural(past, "file"))
	}
	if cached > 0 {
		pass.Fact("through_cache", cached, "Read through this computer's cache, so perhaps not from the disk: %s", checks.Plural(cached, "file"))
	}
}

// lost says how many bytes are lost.
func lost(n int64) string {
	if n == 1 {
		return "1 byte is"
	}
	return checks.Count(n) + " bytes are"
}
