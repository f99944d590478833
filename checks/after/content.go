package after

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/meter"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
	"loadline/checks/share"
)

// MemoryError is the key of the fact that what was read could not be remembered, and why.
const MemoryError = "journal_error"

// flushPatience is how long sending what this computer still holds may take: 64 GB over 1 Gb/s take
// 10 min (computed).
const flushPatience = 15 * time.Minute

// comparing is the state of the check of content while it runs.
type comparing struct {
	*after
	pass   *checks.Pass
	sides  [2]*digest.Reading
	byName []int32 // all files in the order of a manifest, once that is asked for

	mu       sync.Mutex
	proven   atomic.Int64        // files
	troubles [2][]checks.Finding // errors since the side last gave something
	again    []int32             // files whose source has to be read again, since the share differs
	reread   map[int32]bool      // of those, the ones that are being read again
	rotten   map[int32]rotten    // files whose source no longer holds what it held
}

// rotten is what the source of a file held when it was first read in its present state.
type rotten struct {
	then [32]byte
	when time.Time
}

// wantedSums are the digests that a manifest holds besides SHA-256.
func (a *after) wantedSums() sums.Set {
	if a.o.NoMD5 {
		return sums.CRCs
	}
	return sums.CRCs | sums.MD5
}

// content is the Finish of its check: it reads both sides in full.
func (a *after) content(ctx context.Context, pass *checks.Pass) error {
	c := &comparing{after: a, pass: pass, rotten: map[int32]rotten{}}
	files, bytes := int64(0), int64(0)
	for e := range a.tree.files.All() {
		if readable(e) {
			files++
			bytes += e.size
		}
	}
	if files == 0 {
		return errors.New("no file of the right size is on the share, so there is no content to compare")
	}
	defer pass.KeepAwake("Comparing the copy with its source")()
	if err := c.flush(ctx); err != nil {
		return err
	}
	c.open(ctx, bytes)
	err := c.read(ctx)
	for i, m := range a.memory {
		if closed := m.Close(); closed != nil && a.recall[i] == nil && (err != nil || c.sides[i].Meter.Read.Load() > 0) {
			a.recall[i] = closed
		}
	}
	c.describe(files, bytes)
	if err != nil {
		if ctx.Err() == nil && share.Silent(err) {
			return fmt.Errorf("%w; %s proven before. Look at cable, power and network, then check again: what is proven is not read again", err, checks.Plural(c.proven.Load(), "file"))
		}
		return err
	}
	if err := c.flush(ctx); err != nil {
		return err
	}
	return c.seal(ctx)
}

// readable reports whether a file has a copy that can be compared.
func readable(e *entry) bool { return e.flags&sameSize != 0 && e.flags&spoiled == 0 }

// flush sends what this computer still holds for the share: only then can the share give it back.
func (c *comparing) flush(ctx context.Context) error {
	c.pass.Phase(checks.Phase{Text: "Flushing what this computer still holds for the share"})
	way, err := patiently(ctx, c, func() (string, error) {
		f, err := os.Open(c.copy)
		if err != nil {
			return "", err
		}
		defer f.Close()
		return disk.FlushAll(f)
	})
	switch {
	case err == nil || errors.Is(err, errors.ErrUnsupported) || errors.Is(err, fs.ErrInvalid):
		if c.flushed == "" && way != "" {
			c.flushed = way
		}
		return nil
	case ctx.Err() != nil || share.Silent(err):
		return fmt.Errorf("what this computer still holds for the share could not be flushed: %w", err)
	}
	c.fail(c.pass, flushFailed, "", 0, "%s", checks.Reason(err))
	return nil
}

// patiently runs a call that may rightly take minutes, such as syncfs(2), and meanwhile asks the share,
// as often as it may be silent, whether it is still there: statfs(2) on NFS always asks the server.
func patiently[T any](ctx context.Context, c *comparing, f func() (T, error)) (T, error) {
	type answer struct {
		value T
		err   error
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	done := make(chan answer, 1)
	go func() {
		v, err := share.Guard(ctx, flushPatience, f)
		done <- answer{v, err}
	}()
	tick := time.NewTicker(c.o.Silence)
	defer tick.Stop()
	for {
		select {
		case a := <-done:
			return a.value, a.err
		case <-tick.C:
			if _, err := share.Look(ctx, c.copy, c.o.Silence); share.Silent(err) {
				var none T
				return none, err
			}
		}
	}
}

// open prepares both sides.
func (c *comparing) open(ctx context.Context, bytes int64) {
	job := c.pass.Job
	c.remember(ctx, shareSide, c.copy, c.o.Silence)
	for i, root := range [2]string{job.Source, c.copy} {
		s := &digest.Reading{
			Root: root, Name: [...]string{"the source", "the share"}[i], Deadline: c.o.Silence,
			Places: c.places[i], Memory: c.memory[i], Meter: &meter.Meter{}, Open: c.o.open,
		}
		s.Meter.Name = s.Name
		s.Meter.Total.Store(bytes)
		s.Memory.Begin()
		s.Lanes, s.Seeks = digest.LanesOn(root)
		if i == shareSide {
			// What stands in for a share is read as one.
			s.Lanes, s.Seeks = digest.LanesShare, false
		}
		if c.o.Fresh {
			s.Again = func(*digest.Record) bool { return true }
		}
		c.sides[i] = s
	}
	// The digests besides SHA-256 are made on one side: on the share where the source was read before without them.
	c.sides[sourceSide].Want = func(f *digest.File) sums.Set {
		if known, _ := c.knownBefore(f.ID); known {
			return 0
		}
		return c.wantedSums()
	}
	c.sides[shareSide].Want = func(f *digest.File) sums.Set {
		if known, has := c.knownBefore(f.ID); known && has&c.wantedSums() != c.wantedSums() {
			return c.wantedSums()
		}
		return 0
	}
}

// knownBefore reports whether the source of a file was read before, and which digests it got then.
func (c *comparing) knownBefore(i int) (known bool, has sums.Set) {
	c.mu.Lock()
	defer c.mu.Unlock()
	e := c.tree.files.At(i)
	return e.flags&readBefore != 0 && !c.o.Fresh, e.sums.Has
}

// stillReadable is readable while both sides are read.
func (c *comparing) stillReadable(i int) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return readable(c.tree.files.At(i))
}

// read runs both sides, and then reads again the files of the source that were read before and differ.
func (c *comparing) read(ctx context.Context) error {
	c.pass.Phase(checks.Phase{Text: "Reading both sides", Entries: &c.proven, Meters: []*meter.Meter{c.sides[0].Meter, c.sides[1].Meter}})
	err := c.both(ctx)
	if err == nil && len(c.again) > 0 {
		err = c.readAgain(ctx)
	}
	c.settleTroubles(err)
	for i, was := range c.rotten {
		if e := c.tree.files.At(int(i)); e.flags&shareRead == 0 {
			c.tellRotten(e, c.tree.path(int(i)), was) // the share says nothing of it
		}
	}
	return err
}

// settleTroubles reports the errors at the end of a reading, unless that could not go on: a row of errors up to
// there may be the side's fault, not the files'.
func (c *comparing) settleTroubles(end error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range c.troubles {
		if end == nil {
			for _, f := range c.troubles[i] {
				c.pass.Add(f)
			}
		}
		c.troubles[i] = nil
	}
}

func (c *comparing) both(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var both sync.WaitGroup
	for i, s := range c.sides {
		both.Go(func() {
			list := c.lists[i].All()
			if s.Seeks {
				list = c.lists[i].InDiskOrder(ctx, s.Root, s.Deadline)
			}
			err := s.Run(ctx, func(yield func(digest.File) bool) {
				for f := range list {
					if c.stillReadable(f.ID) && !yield(f) {
						return
					}
				}
			}, func(r *digest.Result) { c.judgeContent(i, r) })
			if err != nil {
				cancel(err)
			}
		})
	}
	both.Wait()
	return context.Cause(ctx)
}

// readAgain reads those files of the source that were read before and from which the share differs: only now
// it shows which side is wrong.
func (c *comparing) readAgain(ctx context.Context) error {
	first := c.sides[sourceSide]
	s := &digest.Reading{
		Root: first.Root, Name: first.Name, Lanes: first.Lanes, Seeks: first.Seeks, Deadline: first.Deadline, Places: first.Places,
		Memory: first.Memory, Meter: &meter.Meter{Name: first.Name}, Again: func(*digest.Record) bool { return true },
		Want: func(*digest.File) sums.Set { return c.wantedSums() },
	}
	c.reread = map[int32]bool{}
	for _, i := range c.again {
		c.reread[i] = true
		s.Meter.Total.Add(c.tree.files.At(int(i)).size)
	}
	c.pass.Phase(checks.Phase{Text: "Reading the source again where the share differs", Meters: []*meter.Meter{s.Meter}})
	err := s.Run(ctx, func(yield func(digest.File) bool) {
		for _, i := range c.again {
			if !yield(digest.File{Path: c.tree.path(int(i)), Size: c.tree.files.At(int(i)).size, ID: int(i)}) {
				return
			}
		}
	}, func(r *digest.Result) { c.judgeContent(sourceSide, r) })
	first.Meter.Read.Add(s.Meter.Read.Load())
	return err
}

// judgeContent judges what became of one file on one side.
func (c *comparing) judgeContent(side int, r *digest.Result) {
	e := c.tree.files.At(r.ID)
	path := c.tree.path(r.ID)
	c.mu.Lock()
	defer c.mu.Unlock()
	if r.Err != nil {
		c.unreadableFile(side, e, r, path)
		return
	}
	for _, f := range c.troubles[side] {
		c.pass.Add(f)
	}
	c.troubles[side] = nil
	if bad := c.unstable(side, e, r, path); bad {
		e.flags |= spoiled
		return
	}
	switch {
	case side == shareSide:
		e.share = r.Sums.SHA256
		e.flags |= shareRead
		if e.flags&readBefore != 0 && e.sums.SHA256 == e.share && e.sums.Has != c.wantedSums() && r.Sums.Has&c.wantedSums() == c.wantedSums() {
			e.sums = r.Sums
		}
	case c.reread[int32(r.ID)]:
		c.judgeAgain(e, r, path)
		return
	default:
		c.takeSource(e, r, path)
	}
	if e.flags&(sourceRead|shareRead) == sourceRead|shareRead {
		c.conclude(r.ID, e, path)
	}
}

// takeSource takes what became of a file of the source.
func (c *comparing) takeSource(e *entry, r *digest.Result, path string) {
	switch {
	case r.Known:
		if e.flags&readBefore == 0 || e.sums.Has&r.Sums.Has != r.Sums.Has {
			e.sums = r.Sums
		}
		e.before = r.When.Unix()
		e.flags |= readBefore
	default:
		if e.flags&readBefore != 0 && e.sums.SHA256 != r.Sums.SHA256 {
			e.flags |= newer // written to since the folders were read
		}
		e.sums, e.before = r.Sums, 0
		e.flags &^= readBefore
	}
	if rec, ok := c.memory[sourceSide].First(r.Ident); ok && rec.Sums.SHA256 != r.Sums.SHA256 {
		// It is the same file by all that the system says, now as in every run that reads it again.
		c.rotten[int32(r.ID)] = rotten{rec.Sums.SHA256, rec.When}
	}
	e.kin = r.Kin
	e.flags |= sourceRead
}

// tellRotten reports a file whose source no longer holds what it held.
func (c *comparing) tellRotten(e *entry, path string, was rotten) {
	e.flags |= spoiled
	holds := ""
	switch {
	case e.flags&shareRead == 0:
	case e.share == was.then:
		holds = "; the share holds what the disk held then"
	case e.share == e.sums.SHA256:
		holds = "; the share holds what the disk holds now"
	default:
		holds = "; the share holds neither"
	}
	c.fail(c.pass, sourceRotted, path, e.size, "SHA-256 is %x… now, it was %x… on %s; size and dates are the same%s",
		e.sums.SHA256[:8], was.then[:8], was.when.Format(time.DateOnly), holds)
}

// sameAsBefore reports whether a file is in the state in which an earlier run read it.
func (c *comparing) sameAsBefore(r *digest.Result) bool {
	rec, ok := c.memory[sourceSide].Find(r.Ident)
	return ok && rec.Whole()
}

// unreadableFile takes a file that could not be read.
func (c *comparing) unreadableFile(side int, e *entry, r *digest.Result, path string) {
	rule := unreadableSource
	if side == shareSide {
		rule = unreadableOnShare
	}
	e.flags |= spoiled
	f := checks.Finding{Path: path, Rule: rule, Level: checks.Fail, Size: e.size, Detail: checks.Reason(r.Err)}
	if len(r.Bad) > 0 {
		f.Detail = fmt.Sprintf("%s from byte %s on; %s lost", f.Detail, checks.Count(r.Bad[0].Offset), checks.Plural(r.Lost(), "byte"))
	}
	switch {
	case errors.Is(r.Err, fs.ErrPermission) && side == sourceSide && names.ClutterAbove(path) != "":
		f.Level, f.Remedy = checks.Note, keptBySystem
		e.flags |= leftOut
		c.leftOut++
		c.pass.Add(f)
	case errors.Is(r.Err, fs.ErrPermission) || errors.Is(r.Err, fs.ErrNotExist):
		c.pass.Add(f)
	default:
		c.troubles[side] = append(c.troubles[side], f)
	}
}

// unstable reports a file that was not the same from beginning to end.
func (c *comparing) unstable(side int, e *entry, r *digest.Result, path string) bool {
	if r.Known {
		return false
	}
	switch changed := r.Changed || r.Length != e.size; {
	case changed && side == sourceSide:
		c.fail(c.pass, sourceChanged, path, e.size, "%s", changedHow(e, r))
	case changed:
		c.fail(c.pass, stillCopying, path, e.size, "%s", changedHow(e, r))
	case r.Got != r.Length && side == sourceSide:
		c.fail(c.pass, unreadableSource, path, e.size, "only %s of %s bytes could be read", checks.Count(r.Got), checks.Count(r.Length))
	case r.Got != r.Length:
		c.fail(c.pass, shortOnShare, path, e.size, "the share returned %s of the %s bytes it reports", checks.Count(r.Got), checks.Count(r.Length))
	default:
		return false
	}
	return true
}

// changedHow says how a file changed: one whose space was taken beforehand keeps its size while it is filled.
func changedHow(e *entry, r *digest.Result) string {
	if r.Got == e.size {
		return "it was written to while it was checked; its size is the same"
	}
	return fmt.Sprintf("it changed while it was checked: %s bytes at first, %s when it was read", checks.Count(e.size), checks.Count(r.Got))
}

// conclude compares the two sides of a file.
func (c *comparing) conclude(i int, e *entry, path string) {
	was, rotted := c.rotten[int32(i)]
	switch {
	case e.flags&spoiled != 0:
	case rotted:
		c.tellRotten(e, path, was)
	case e.sums.SHA256 == e.share:
		if n := c.proven.Add(1); c.onProven != nil {
			c.onProven(n)
		}
	case e.flags&readBefore != 0:
		c.again = append(c.again, int32(i))
	default:
		c.differs(e, e.kin, path)
	}
}

func (c *comparing) differs(e *entry, kin digest.Ident, path string) {
	e.flags |= spoiled
	if rec, ok := c.memory[sourceSide].Earlier(kin); e.flags&newer != 0 || ok && rec.Whole() && rec.Sums.SHA256 == e.share {
		c.fail(c.pass, sourceChanged, path, e.size, "the source was changed after its copy and holds other bytes now")
		return
	}
	c.fail(c.pass, contentDiffers, path, e.size, "SHA-256 is %x… on the source, %x… on the share", e.sums.SHA256[:8], e.share[:8])
}

// judgeAgain says which side is wrong, now that the source was read once more.
func (c *comparing) judgeAgain(e *entry, r *digest.Result, path string) {
	if r.Sums.SHA256 == e.sums.SHA256 {
		c.differs(e, r.Kin, path)
		return
	}
	e.flags |= spoiled
	if !c.sameAsBefore(r) {
		e.sums = r.Sums
		c.fail(c.pass, sourceChanged, path, e.size, "the source was changed since it was read before")
		return
	}
	holds := "what the disk holds now"
	if r.Sums.SHA256 != e.share {
		holds = "neither"
	}
	c.fail(c.pass, sourceRotted, path, e.size, "SHA-256 is %x… now, it was %x… on %s; size and dates are the same; the share holds %s",
		r.Sums.SHA256[:8], e.sums.SHA256[:8], time.Unix(e.before, 0).Format(time.DateOnly), holds)
}

// describe writes what was done onto the card.
func (c *comparing) describe(files, bytes int64) {
	t := c.pass
	proven := c.proven.Load()
	t.Fact("proven_files", proven, "Proven equal: %s of %s", checks.Count(proven), checks.Plural(files, "file"))
	c.describeBefore()
	for i, s := range c.sides {
		key := [...]string{"source", "share"}[i]
		t.Fact(key+"_bytes_read", s.Meter.Read.Load(), "Read from %s: %s", s.Name, checks.Bytes(s.Meter.Read.Load()))
		if n := s.Known(); n > 0 {
			t.Fact(key+"_known", n, "Known for %s from an earlier run, unchanged since: %s", s.Name, checks.Plural(n, "file"))
		}
		for way, n := range s.Ways() {
			if way.Past() {
				t.Fact(key+"_past_cache_"+factKey(way.By), n, "Read from %s past this computer's cache, by %s: %s", s.Name, way.By, checks.Plural(n, "file"))
			}
		}
		if _, cached := s.Passed(); cached > 0 {
			t.Fact(key+"_through_cache", cached, "Read from %s through this computer's cache: %s", s.Name, checks.Plural(cached, "file"))
			if i == shareSide {
				t.FlagJob(cacheNotPassed, "%s read through the cache", checks.Plural(cached, "file"))
			}
		}
	}
	if c.facts.Network && c.sides[shareSide].Meter.Read.Load() > 0 {
		t.FlagJob(unverifiableRead, "what the share gave back may have come from the memory of the appliance: no client can tell")
	}
	for _, err := range c.recall {
		if err != nil {
			t.Fact(MemoryError, err.Error(), "What was read could not be remembered: %s", checks.Plain(checks.Reason(err)))
			break
		}
	}
	if c.flushed != "" {
		t.Fact("flushed", c.flushed, "Flushed before and after reading: %s on the share", c.flushed)
	}
	t.Summarize("%s of %s proven equal by SHA-256, %s.", checks.Count(proven), checks.Plural(files, "file"), checks.Bytes(bytes))
}

// describeBefore says what of the source was not read again, and since when.
func (c *comparing) describeBefore() {
	n, first, last := int64(0), int64(0), int64(0)
	for e := range c.tree.files.All() {
		if e.flags&readBefore != 0 && e.flags&sourceRead != 0 {
			n++
			last = max(last, e.before)
			if first == 0 || e.before < first {
				first = e.before
			}
		}
	}
	from, to := time.Unix(first, 0).Format(time.DateOnly), time.Unix(last, 0).Format(time.DateOnly)
	switch {
	case n == 0:
		c.pass.Fact("read_before", n, "Every file of the source was read now")
	case from == to:
		c.pass.Fact("read_before", n, "Read on %s and unchanged since, so not read again: %s of the source", from, checks.Plural(n, "file"))
	default:
		c.pass.Fact("read_before", n, "Read between %s and %s and unchanged since, so not read again: %s of the source", from, to, checks.Plural(n, "file"))
	}
}

// factKey makes the name of a way past the cache part of the key of a fact.
func factKey(way string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, strings.ToLower(way))
}
