package share

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"loadline/checks/internal/disk"
)

// Defaults of Wishes (common practice, no source).
const (
	defaultTime  = 8 * time.Second
	defaultFiles = 100
	mostBytes    = 256 << 20 // of the stream, where free space does not bound it
	unknownBytes = 16 << 20  // of the stream, where the share does not say what is free
	probeBytes   = 1 << 20   // of the first file
	leastBytes   = 4096      // of the stream, however little is free
)

// Try is the write trial. It makes one marked folder in folder, writes into it, flushes, reads back
// past the client's cache, renames, dates, tries names, times many small files and one stream, and
// removes everything again, whatever happens.
//
// What the share does wrong is a Problem of the Result, under a rule of the check share-writes; how
// it treats names, its clock and what earlier runs left are fields of their own. An error means
// that the trial could not judge: it wraps ErrSilent, ErrBusy or ctx.Err(), or says what this
// machine lacks. The Result is never nil and holds what was found before.
//
// Cancelling ctx ends the trial at once: it tidies up for two seconds at most, and not at all where
// the share does not respond. Then, and after ErrSilent, Own names the folder that may be left, and so does the
// error.
func Try(ctx context.Context, folder string, w Wishes) (*Result, error) {
	if w.Deadline <= 0 {
		w.Deadline = DefaultDeadline
	}
	if w.Time <= 0 {
		w.Time = defaultTime
	}
	if w.Files <= 0 {
		w.Files = defaultFiles
	}
	if w.clock == nil {
		w.clock = time.Now
	}
	t := &trial{worker: &worker{overdue: w.overdue}, folder: folder, wishes: w}
	err := t.worker.watch(ctx, w.Deadline, func(*worker) error { return t.run() })
	t.tell.Lock()
	t.over = true // a worker that hangs must not call Progress any more
	t.tell.Unlock()
	t.mu.Lock()
	defer t.mu.Unlock()
	r := t.result
	r.Problems = slices.Clone(r.Problems)
	r.Refused = slices.Clone(r.Refused)
	r.LeftBehind = slices.Clone(r.LeftBehind)
	r.Own = t.left()
	if err != nil {
		return &r, fmt.Errorf("the write trial: %w", err)
	}
	return &r, nil
}

// A trial is one run of Try. Only its worker uses it, but for result, which Try copies.
type trial struct {
	*worker
	folder string
	wishes Wishes
	at     seen
	soft   bool
	bytes  int64 // of the stream
	parent *place
	in     *place
	name   string
	marker marker

	mu     sync.Mutex
	result Result

	tell sync.Mutex
	over bool
	done float64 // the last progress told: it never goes back
}

// now is the time by the clock of the measurements.
func (t *trial) now() time.Time { return t.wishes.clock() }

// update changes the result.
func (t *trial) update(f func(*Result)) {
	t.mu.Lock()
	defer t.mu.Unlock()
	f(&t.result)
}

// fail records a problem, the first of each rule: those that follow from it say nothing new. What it
// returns ends the part of the trial that it came up in. An error that no rule names says nothing of the share
// that anybody knows: the trial then could not judge.
func (t *trial) fail(doing string, err error) error {
	rule := ruleOf(err)
	if rule == "" && !errors.Is(err, errStopped) && !ownFault(err) {
		return fmt.Errorf("%s: %w", doing, disk.WithoutPath(err))
	}
	return t.record(rule, doing, err)
}

// failBytes is fail where bytes were on their way: whatever the error, they cannot be relied on.
func (t *trial) failBytes(doing string, err error) error {
	return t.record(cmp.Or(ruleOf(err), ruleLost), doing, err)
}

func (t *trial) record(rule, doing string, err error) error {
	if errors.Is(err, errStopped) || ownFault(err) {
		return err
	}
	p := trouble(rule, doing, err, t.soft)
	t.update(func(r *Result) {
		if !slices.ContainsFunc(r.Problems, func(o Problem) bool { return o.Rule == p.Rule }) {
			r.Problems = append(r.Problems, p)
		}
	})
	return errProblem
}

// errProblem ends a part of the trial whose problem is recorded. It never leaves the package.
var errProblem = errors.New("a problem was found")

func (t *trial) progress(done float64, doing string) {
	if t.wishes.Progress == nil {
		return
	}
	t.tell.Lock()
	defer t.tell.Unlock()
	if !t.over {
		t.done = max(t.done, done)
		t.wishes.Progress(t.done, doing)
	}
}

func (t *trial) run() error {
	t.progress(0, "Making a trial folder")
	if err := t.open(); err != nil {
		return over(err)
	}
	defer t.parent.close()
	if err := t.begin(); err != nil {
		return over(err)
	}
	err := t.measure()
	t.progress(0.98, "Removing the trial folder")
	return errors.Join(over(err), over(t.cleanUp()))
}

// over turns the end of a part that recorded its problem into an end without error.
func over(err error) error {
	if errors.Is(err, errProblem) && !errors.Is(err, errStopped) {
		return nil
	}
	return err
}

// measure does all that needs the folder.
func (t *trial) measure() error {
	t.progress(0.03, "Writing and reading back a file")
	rate, probed := t.probe()
	if probed != nil && !t.onlyFull() {
		return probed
	}
	t.progress(0.1, "Trying names")
	if err := t.names(); err != nil && !t.onlyFull() {
		return err
	}
	if probed != nil {
		return probed
	}
	t.progress(0.3, "Timing small files")
	if err := t.smallFiles(); err != nil && !errors.Is(err, errProblem) {
		return err
	}
	t.progress(0.45, "Measuring the rate")
	return t.stream(rate)
}

// onlyFull says that the share is full and nothing else is wrong with it: names can be tried still,
// for an empty file takes no space.
func (t *trial) onlyFull() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, p := range t.result.Problems {
		if p.Rule != ruleFull && p.Rule != ruleOwnerNotKept {
			return false
		}
	}
	return len(t.result.Problems) > 0
}

// open opens the folder of the share and learns what bounds the trial.
func (t *trial) open() error {
	err := t.call("opening the share", func() (err error) {
		abs, err := filepath.Abs(t.folder)
		if err != nil {
			return err
		}
		if t.at, err = resolve(abs); err != nil {
			return err
		}
		if t.parent, err = openPlace(t.at.path); err == nil {
			t.parent.direct = t.at.space.Magic == magicNFS
		}
		return err
	})
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, ErrNotFolder) || errors.Is(err, errStopped) {
			return explainLook(t.folder, err)
		}
		return t.fail("opening the share", err)
	}
	if rows, err := mounts(context.Background()); err == nil {
		if m, ok := rowOf(rows, t.at); ok {
			_, soft := m.Option("soft")
			_, softerr := m.Option("softerr")
			t.soft = soft || softerr
		}
	}
	t.bytes = t.wishes.Bytes
	if t.bytes <= 0 {
		t.bytes = unknownBytes
		if free := t.at.space.Free; free >= 0 {
			t.bytes = max(min(free/100, mostBytes), leastBytes)
		}
	}
	return nil
}

// begin makes the marked folder. Nothing is left where it fails.
func (t *trial) begin() error {
	found, err := leftBehind(t.worker, t.parent)
	t.update(func(r *Result) { r.LeftBehind = found })
	if err != nil {
		if err = t.fail("listing the share", err); !errors.Is(err, errProblem) {
			return err // a share that cannot be listed may still take files
		}
	}
	for range 8 { // 40 bits of chance: a second try is never needed but where names are folded away
		t.name = trialPrefix + strings.ToLower(rand.Text()[:8])
		t.worker.at(t.parent.path + string(os.PathSeparator) + t.name)
		err = t.call("making a folder", func() (err error) {
			t.in, err = t.parent.makeFolder(t.name)
			return err
		})
		if !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	if err != nil {
		t.worker.at("")
		return t.fail("making a folder on the share", err)
	}
	t.marker = newMarker(t.name)
	live.Store(t.marker.token, true)
	err = t.call("writing the marker", func() error { return t.in.writeAll(markerName, t.marker.String()) })
	if err != nil {
		return errors.Join(t.fail("writing a first file", err), t.cleanUp())
	}
	return nil
}

// cleanUp removes what the trial made, and only that. What cannot be removed is said.
func (t *trial) cleanUp() error {
	defer live.Delete(t.marker.token)
	defer t.in.close()
	var errs []error
	for name := range t.in.made {
		if name != markerName { // the marker goes last: it proves the rest to be ours
			errs = append(errs, t.tidy("removing the trial's files", func() error { return t.in.remove(name) }))
		}
	}
	err := errors.Join(errs...)
	if err == nil {
		err = t.tidy("removing the marker", func() error { return t.in.remove(markerName) })
	}
	if err == nil {
		err = t.tidy("removing the trial folder", func() error {
			if err := t.parent.is(t.name, t.in); err != nil {
				return err
			}
			return t.parent.removeEmpty(t.name)
		})
	}
	if err == nil {
		t.worker.at("")
		return nil
	}
	return t.fail(fmt.Sprintf("removing the trial folder %q", t.in.path), err)
}
