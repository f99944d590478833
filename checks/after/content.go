package after

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/names"
	"loadline/checks/share"
)

// Lanes: how many files of a side are read at a time. They stay below the number of calls that
// share.Guard lets run at a time, 8. On the share several lanes hide the round trips of small files;
// a disk that turns would only seek between them.
const (
	shareLanes  = 4
	sourceLanes = 2
)

// flushPatience is how long sending what this machine still holds may take: 64 GB over 1 Gb/s take
// 10 min (computed).
const flushPatience = 15 * time.Minute

// comparing is the state of the check of content while it runs.
type comparing struct {
	*after
	pass    *checks.Pass
	journal *digest.Journal
	sides   [2]*digest.Side
	byName  []int32 // all files in the order of a manifest, once that is asked for

	mu       sync.Mutex
	proven   atomic.Int64        // files
	troubles [2][]checks.Finding // errors since the side last gave something
}

// content is the Finish of its check: it reads both sides in full.
func (a *after) content(ctx context.Context, pass *checks.Pass) error {
	c := &comparing{after: a, pass: pass}
	files, bytes := int64(0), int64(0)
	for _, chunk := range a.tree.files.Chunks {
		for i := range chunk {
			if readable(&chunk[i]) {
				files++
				bytes += chunk[i].size
			}
		}
	}
	if files == 0 {
		return errors.New("no file of the right size is on the share, so there is no content to compare")
	}
	if err := c.flush(ctx); err != nil {
		return err
	}
	if err := c.open(ctx); err != nil {
		return err
	}
	order := slices.DeleteFunc(a.tree.byPosition(), func(i int32) bool { return !readable(a.tree.files.At(int(i))) })
	a.meter.start(c.sides[:], bytes, &c.proven)
	err := c.read(ctx, order)
	a.meter.stop()
	if closed := c.journal.Close(); closed != nil && err == nil {
		pass.Fact("journal_error", closed.Error(), "What was proven could not be remembered: %s", names.Quote(closed.Error()))
	}
	c.describe(files, bytes)
	if err != nil {
		a.flawed.Store(true)
		if ctx.Err() == nil && digest.Silent(err) {
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

// flush sends what this machine still holds for the share: only then can the share give it back.
func (c *comparing) flush(ctx context.Context) error {
	if digest.FlushCall == "" {
		return nil
	}
	c.meter.phase("Sending what this machine still holds for the share")
	defer c.meter.phase("")
	_, err := patiently(ctx, c, func() (struct{}, error) { return struct{}{}, digest.Flush(c.copy) })
	switch {
	case err == nil || errors.Is(err, errors.ErrUnsupported) || errors.Is(err, fs.ErrInvalid):
		return nil
	case digest.Fatal(ctx, err):
		return fmt.Errorf("what this machine still holds could not be sent to the share: %w", err)
	}
	c.fail(c.pass, flushFailed, "", 0, "%s: %v", digest.FlushCall, plain(err))
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
	for tick := time.NewTicker(c.o.Silence); ; {
		select {
		case a := <-done:
			tick.Stop()
			return a.value, a.err
		case <-tick.C:
			if _, err := share.Look(ctx, c.copy, c.o.Silence); digest.Silent(err) {
				tick.Stop()
				var none T
				return none, err
			}
		}
	}
}

// open prepares both sides and what earlier runs have proven.
func (c *comparing) open(ctx context.Context) error {
	job := c.pass.Job
	source := "disk"
	if rows, err := share.Mounts(ctx); err == nil {
		if m, ok := share.Covering(rows, job.Source); ok {
			source = m.From + " " + m.Type
		}
	}
	lanes := sourceLanes
	if digest.Rotates(job.Source) {
		lanes = 1
	}
	c.sides = [2]*digest.Side{
		{Name: "the source", Root: job.Source, Path: c.tree.path, Place: source, Lanes: lanes, MD5: !c.o.NoMD5},
		{Name: "the share", Root: c.copy, Path: c.tree.path, Place: c.facts.Mount.From + " " + c.facts.Mount.Type, Lanes: shareLanes, Roaming: c.facts.Network},
	}
	for i, s := range c.sides {
		s.Number, s.Deadline = i, c.o.Silence
		s.Recalled = func(file int) digest.Ident {
			c.mu.Lock()
			defer c.mu.Unlock()
			if e := c.tree.files.At(file); e.flags&[...]flags{sourceKnown, shareKnown}[i] != 0 {
				return e.idents[i]
			}
			return 0
		}
	}
	if c.stateInSource {
		c.pass.Fact("journal_error", errStateInSource.Error(), "What is proven is not remembered: %s", errStateInSource)
		return nil
	}
	if c.o.State == "" {
		return nil
	}
	var err error
	c.journal, err = digest.OpenJournal(digest.JournalName(c.o.State, job.Source, job.Share, job.Prefix), c.o.Fresh, c.recall)
	if err != nil {
		c.pass.Fact("journal_error", err.Error(), "What is proven cannot be remembered: %s", names.Quote(err.Error()))
		return nil
	}
	c.journal.Every = c.journalEvery
	return nil
}

// recall takes a record of an earlier run.
func (c *comparing) recall(r *digest.Record) {
	i := c.tree.find(r.Path)
	if i < 0 {
		return
	}
	e := c.tree.files.At(i)
	e.idents[r.Side] = r.Ident
	if r.Side == digest.Share {
		e.share = r.Sums.SHA256
		e.flags |= shareKnown
		return
	}
	if e.sums = r.Sums; c.o.NoMD5 || r.Sums.HasMD5 {
		e.flags |= sourceKnown
	}
}

// read runs both sides.
func (c *comparing) read(ctx context.Context, order []int32) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var both sync.WaitGroup
	for _, s := range c.sides {
		both.Add(1)
		go func() {
			defer both.Done()
			err := s.Run(ctx, order, func(r *digest.Reading) {
				if err := c.take(s, r); err != nil {
					cancel(err)
				}
			})
			if err != nil {
				cancel(fmt.Errorf("%s: %w", s.Name, err))
			}
		}()
	}
	both.Wait()
	err := context.Cause(ctx)
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range c.troubles {
		// A row of errors up to the very end may be the side's fault, not the files'.
		if err == nil {
			for _, f := range c.troubles[i] {
				c.flawed.Store(true)
				c.pass.Add(f)
			}
		}
	}
	return err
}

// mostTroubles is how many files in a row may give nothing but errors before it is put down to the
// whole side (common practice, no source).
const mostTroubles = 16

// take judges what became of one file on one side.
func (c *comparing) take(s *digest.Side, r *digest.Reading) error {
	e := c.tree.files.At(r.File)
	path := c.tree.path(r.File)
	c.mu.Lock()
	defer c.mu.Unlock()
	if r.Err != nil {
		rule := unreadableSource
		if s.Number == digest.Share {
			rule = unreadableOnShare
		}
		e.flags |= spoiled
		s.Bytes.Add(e.size - r.Got)
		f := checks.Finding{Path: path, Rule: rule, Level: checks.Fail, Size: e.size, Detail: plain(r.Err).Error()}
		if errors.Is(r.Err, fs.ErrPermission) || errors.Is(r.Err, fs.ErrNotExist) {
			c.flawed.Store(true)
			c.pass.Add(f)
			return nil
		}
		if c.troubles[s.Number] = append(c.troubles[s.Number], f); len(c.troubles[s.Number]) >= mostTroubles {
			return fmt.Errorf("%s gives nothing but errors any more, the last being: %w", s.Name, plain(r.Err))
		}
		return nil
	}
	for _, f := range c.troubles[s.Number] {
		c.flawed.Store(true)
		c.pass.Add(f)
	}
	c.troubles[s.Number] = nil
	if bad := c.unstable(s, e, r, path); bad {
		e.flags |= spoiled
		return nil
	}
	if s.Number == digest.Source {
		if !r.Known {
			// An earlier run read other bytes here: the file was changed since.
			if e.idents[digest.Source] != 0 && e.sums.SHA256 != r.Sums.SHA256 {
				e.flags |= newer
			}
			e.sums = r.Sums
		}
		e.flags |= sourceRead
	} else {
		if !r.Known {
			e.share = r.Sums.SHA256
		}
		e.flags |= shareRead
	}
	if !r.Known {
		c.journal.Add(&digest.Record{Side: s.Number, Ident: r.Ident, Sums: r.Sums, Path: path})
	}
	if e.flags&(sourceRead|shareRead) == sourceRead|shareRead {
		c.conclude(e, path)
	}
	return nil
}

// unstable reports a file that was not the same from beginning to end.
func (c *comparing) unstable(s *digest.Side, e *entry, r *digest.Reading, path string) bool {
	if r.Known {
		return false
	}
	switch changed := r.Changed || r.Size != e.size; {
	case changed && s.Number == digest.Source:
		c.fail(c.pass, sourceChanged, path, e.size, "%s", changedHow(e, r))
	case changed:
		c.fail(c.pass, stillCopying, path, e.size, "%s", changedHow(e, r))
	case r.Got != r.Size && s.Number == digest.Source:
		c.fail(c.pass, unreadableSource, path, e.size, "only %s of %s bytes could be read", checks.Count(r.Got), checks.Count(r.Size))
	case r.Got != r.Size:
		c.fail(c.pass, shortOnShare, path, e.size, "the share gives %s of the %s bytes that it tells", checks.Count(r.Got), checks.Count(r.Size))
	default:
		return false
	}
	return true
}

// changedHow says how a file changed: one whose space was taken beforehand keeps its size while it is filled.
func changedHow(e *entry, r *digest.Reading) string {
	if r.Got == e.size {
		return "it was written to while it was checked; its size is the same"
	}
	return fmt.Sprintf("it changed while it was checked: %s bytes at first, %s when it was read", checks.Count(e.size), checks.Count(r.Got))
}

// conclude compares the two sides of a file.
func (c *comparing) conclude(e *entry, path string) {
	if e.sums.SHA256 == e.share {
		if n := c.proven.Add(1); c.onProven != nil {
			c.onProven(n)
		}
		return
	}
	e.flags |= spoiled
	if e.flags&newer != 0 {
		c.fail(c.pass, sourceChanged, path, e.size, "the source was changed after its copy and holds other bytes now")
		return
	}
	c.fail(c.pass, contentDiffers, path, e.size, "SHA-256 is %x… on the source, %x… on the share", e.sums.SHA256[:8], e.share[:8])
}

// describe writes what was done onto the card.
func (c *comparing) describe(files, bytes int64) {
	t := c.pass
	proven := c.proven.Load()
	t.Fact("proven_files", proven, "Proven equal: %s of %s", checks.Count(proven), checks.Plural(files, "file"))
	for _, s := range c.sides {
		key := [...]string{"source", "share"}[s.Number]
		t.Fact(key+"_bytes_read", s.Read.Load(), "Read from %s: %s", s.Name, checks.Bytes(s.Read.Load()))
		if n := s.Known.Load(); n > 0 {
			t.Fact(key+"_known", n, "Known of %s from an earlier run, unchanged since: %s", s.Name, checks.Plural(n, "file"))
		}
		for _, way := range []string{digest.Direct, digest.Advice} {
			if n := s.Ways[way]; n > 0 && way != "" {
				t.Fact(key+"_past_cache_"+factKey(way), n, "Read from %s past this machine's cache, by %s: %s", s.Name, way, checks.Plural(n, "file"))
			}
		}
		if n := s.Ways[""]; n > 0 {
			t.Fact(key+"_through_cache", n, "Read from %s through this machine's cache: %s", s.Name, checks.Plural(n, "file"))
			if s.Number == digest.Share {
				t.FlagJob(cacheNotPassed, "%s read through the cache", checks.Plural(n, "file"))
			}
		}
	}
	if digest.FlushCall != "" {
		t.Fact("flushed", digest.FlushCall, "Flushed before and after reading: %s on the share", digest.FlushCall)
	}
	t.Summarize("%s of %s proven equal by SHA-256, %s.", checks.Count(proven), checks.Plural(files, "file"), checks.Bytes(bytes))
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
