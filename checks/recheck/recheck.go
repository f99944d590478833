// Package recheck reads any folder to its last byte and compares it with a manifest: a second disk, objects that were
// fetched back, the same disk years later.
package recheck

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/compact"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/meter"
	"loadline/checks/manifest"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// Options are the wishes of a caller; the zero value reads everything and remembers nothing.
type Options struct {
	// Sample is how many per cent of the files are read, chosen at random, one at least; 0 means all.
	Sample float64
	// Seed repeats a choice; HasSeed says that there is one.
	Seed    uint64
	HasSeed bool
	// State is the state folder of this computer: a run that was stopped goes on from it, and what was good is
	// remembered there for the check after arrival. Empty: neither.
	State   string
	Version string
	Now     func() time.Time // nil means time.Now

	// open opens a file to be read; nil means disk.OpenPast. For tests of disks that fail.
	open func(path string) (*disk.Reader, error)
}

// Run compares a folder with a manifest. A manifest that cannot be trusted, a folder that is none, or a sample out
// of bounds is a checks.JobError. If ctx ends, the report is Interrupted and the error that of ctx.
func Run(ctx context.Context, file, folder string, o Options, watch func(checks.Event)) (*checks.Report, error) {
	defer compact.Lean()()
	job := checks.Job{Stage: checks.Recheck, Source: folder, Version: o.Version, Now: o.Now}
	if folder == "" {
		return nil, &checks.JobError{Field: checks.FieldSource, Err: errors.New("no folder was given"), Hint: "choose the folder of the copy"}
	}
	list, err := newList(ctx, file, o, watch)
	if err != nil {
		return nil, err
	}
	return checks.Run(ctx, job, list, watch)
}

// List returns the checks, in their order, for those who only want to show them.
func List() []*checks.Check { return (&recheck{}).list() }

// newList reads the manifest and returns the checks of one comparison, for checks.Run with the folder as source.
func newList(ctx context.Context, file string, o Options, watch func(checks.Event)) ([]*checks.Check, error) {
	if math.IsNaN(o.Sample) || o.Sample < 0 || o.Sample > 100 {
		return nil, &checks.JobError{Field: checks.FieldSample, Err: fmt.Errorf("%g per cent is not a sample", o.Sample), Hint: "write a number over 0, and 100 at most"}
	}
	if file == "" {
		return nil, &checks.JobError{Field: checks.FieldManifest, Err: errors.New("no manifest was given"), Hint: "choose the one that the check after copying wrote"}
	}
	r := &recheck{o: o, file: file}
	if r.o.Now == nil {
		r.o.Now = time.Now
	}
	done, told := int64(0), time.Time{}
	total := int64(1)
	if info, err := os.Stat(file); err == nil {
		total = max(info.Size(), 1)
	}
	began := time.Now()
	x, err := manifest.Load(ctx, file, manifest.Keep{SHA256: true}, func(n int) {
		done += int64(n)
		if now := time.Now(); watch != nil && now.Sub(told) > 100*time.Millisecond {
			told = now
			watch(checks.Event{Progress: checks.Progress{Phase: "Reading the manifest", Elapsed: now.Sub(began), Bytes: done, Done: min(float64(done)/float64(total), 0.99), Left: -1}})
		}
	})
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, &checks.JobError{Field: checks.FieldManifest, Err: err}
	}
	r.x = x
	r.found = make([]found, x.Len())
	r.cursors.New = func() any { return x.Cursor() }
	return r.list(), nil
}

func (r *recheck) list() []*checks.Check {
	complete, content := completeCheck, contentCheck // copies: what they do belongs to one comparison
	complete.Visit = r.visit
	complete.Finish = r.complete
	content.Needs = []*checks.Check{&complete}
	content.Finish = r.content
	return []*checks.Check{&complete, &content}
}

// found is what the walk met of a file of the manifest.
type found uint8

const (
	absent found = iota
	there
	otherSize
	closed // it could not be looked at
)

// recheck is one comparison.
type recheck struct {
	o       Options
	file    string
	x       *manifest.Index
	cursors sync.Pool
	found   []found // of each file; the walk meets each once

	mu      sync.Mutex
	files   digest.List // those that are there with their sizes
	under   map[int]string
	extras  []extraFile
	nExtras int64
	shut    []string // folders that could not be listed

	chosen  []bool // nil: all
	nChosen int64
	proof   []string
}

type extraFile struct {
	path string
	size int64
}

// mostExtras is how many files that the manifest does not know are named; more are counted only.
const mostExtras = 100_000

// visit looks up the files of one folder.
func (r *recheck) visit(pass *checks.Pass, d *walk.Dir) {
	if d.Err != nil {
		pass.FlagFinding(d, checks.Finding{Path: d.Path, Rule: unreadable, Level: checks.Fail, Detail: "the folder could not be listed: " + checks.Plain(checks.Reason(d.Err))})
		r.mu.Lock()
		r.shut = append(r.shut, d.Path)
		r.mu.Unlock()
	}
	c, _ := r.cursors.Get().(*manifest.Cursor)
	defer r.cursors.Put(c)
	path := make([]byte, 0, 256)
	if d.Path != "" {
		path = append(append(path, d.Path...), '/')
	}
	head := len(path)
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Kind != walk.File {
			continue
		}
		path = append(path[:head], e.Name...)
		n := c.Find(path)
		switch {
		case n < 0:
			r.addExtra(string(path), e)
		case e.Failed:
			r.found[n] = closed
			pass.Flag(d, e, unreadable, "it could not be looked at: %s", checks.Plain(checks.Reason(d.Why(e.Name))))
		case e.Size != r.x.Size(n):
			r.found[n] = otherSize
			pass.Flag(d, e, size, "%s bytes, the manifest says %s", checks.Count(e.Size), checks.Count(r.x.Size(n)))
		default:
			r.found[n] = there
		}
	}
	r.files.Add(d, func(e *walk.Entry) (int, bool) {
		path = append(path[:head], e.Name...)
		n := c.Find(path)
		return n, n < 0 || r.found[n] == there // what the manifest does not know may be one under another form
	})
}

func (r *recheck) addExtra(path string, e *walk.Entry) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.nExtras++; r.nExtras <= mostExtras {
		r.extras = append(r.extras, extraFile{path, e.Size})
	}
}

// complete is the Finish of its check.
func (r *recheck) complete(ctx context.Context, pass *checks.Pass) error {
	pass.Describe(r.describe)
	r.otherForms(pass)
	var count [closed + 1]int64
	unseen := int64(0)
	slices.Sort(r.shut)
	for i, path := range r.x.All() {
		if i%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		count[r.found[i]]++
		if r.found[i] != absent {
			continue
		}
		if r.below(string(path)) {
			unseen++
			continue
		}
		pass.Add(checks.Finding{Path: string(path), Rule: missing, Level: checks.Fail, Size: r.x.Size(i), Detail: "the manifest has it with " + checks.Plural(r.x.Size(i), "byte")})
	}
	named := int64(0)
	for _, e := range r.extras {
		if manifest.IsName(path.Base(e.path)) {
			r.nExtras--
			continue
		}
		named++
		pass.Add(checks.Finding{Path: e.path, Rule: extra, Level: checks.Note, Size: e.size, Detail: "the manifest does not know it"})
	}
	pass.Count(&walk.Dir{}, extra, max(r.nExtras-named, 0))
	files := int64(r.x.Len())
	gone := count[absent] - unseen
	pass.Fact("files", files, "Files in the manifest: %s, %s", checks.Count(files), checks.Bytes(r.x.Header.Bytes))
	pass.Fact("there", count[there], "There, with their sizes: %s", checks.Plural(count[there], "file"))
	pass.Fact("missing", gone, "Missing: %s", checks.Plural(gone, "file"))
	if unseen > 0 {
		pass.Fact("unseen", unseen, "In folders that could not be listed: %s", checks.Plural(unseen, "file"))
	}
	pass.Fact("extra", r.nExtras, "Not in the manifest: %s", checks.Plural(r.nExtras, "file"))
	switch {
	case count[there] == files:
		pass.Summarize("All %s of the manifest are there, with their sizes.", checks.Plural(files, "file"))
	case count[absent] == files:
		pass.Summarize("No file of the manifest is there.%s", r.below0(pass))
	default:
		pass.Summarize("%s: %s missing, %s of another size.", checks.Plural(files, "file"), checks.Count(gone), checks.Count(count[otherSize]))
	}
	return nil
}

// below0 says where the copy may lie instead.
func (r *recheck) below0(pass *checks.Pass) string {
	prefix := r.x.Header.Prefix
	if prefix == "" {
		return " Is it the right folder?"
	}
	dir := filepath.Join(pass.Job.Source, filepath.FromSlash(prefix))
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		return fmt.Sprintf(" The copy may be in %s: choose that folder.", names.Quote(dir))
	}
	return " Is it the right folder? Paths are those of the manifest, without the prefix " + names.Quote(prefix) + "."
}

// below reports whether a path is in a folder that could not be listed.
func (r *recheck) below(path string) bool {
	return slices.ContainsFunc(r.shut, func(dir string) bool { return dir == "" || strings.HasPrefix(path, dir+"/") })
}

// otherForms finds files that are there under another normal form of their names.
func (r *recheck) otherForms(pass *checks.Pass) {
	if len(r.extras) == 0 {
		return
	}
	gone := map[string]int{}
	for i, path := range r.x.All() {
		if r.found[i] == absent && !names.IsASCII(path) {
			gone[names.NFC(string(path))] = i
		}
	}
	if len(gone) == 0 {
		return
	}
	r.under = map[int]string{}
	left := r.extras[:0]
	for _, e := range r.extras {
		i, ok := gone[names.NFC(e.path)]
		if !ok || r.found[i] != absent {
			left = append(left, e)
			continue
		}
		r.nExtras--
		r.under[i] = e.path
		if e.size != r.x.Size(i) {
			r.found[i] = otherSize
			pass.Add(checks.Finding{Path: r.x.Path(i), Rule: size, Level: checks.Fail, Size: e.size, Detail: fmt.Sprintf("%s bytes, the manifest says %s", checks.Count(e.size), checks.Count(r.x.Size(i)))})
			continue
		}
		r.found[i] = there
		pass.Add(checks.Finding{Path: r.x.Path(i), Rule: otherForm, Level: checks.Note, Size: e.size, Detail: "it is there as " + names.Quote(e.path)})
	}
	r.extras = left
}

// choose draws the sample.
func (r *recheck) choose(seed uint64) {
	n := r.x.Len()
	if r.o.Sample == 0 || r.o.Sample == 100 {
		r.nChosen = int64(n)
		return
	}
	want := min(max(int(math.Ceil(float64(n)*r.o.Sample/100-1e-9)), 1), n)
	r.nChosen = int64(want)
	r.chosen = make([]bool, n)
	random := rand.New(rand.NewPCG(seed, 0))
	for i := n - want; i < n; i++ { // each choice of as many files is as likely as any other (R. W. Floyd, CACM 30(9), 1987)
		if k := random.IntN(i + 1); r.chosen[k] {
			r.chosen[i] = true
		} else {
			r.chosen[k] = true
		}
	}
}

// content is the Finish of its check.
func (r *recheck) content(ctx context.Context, pass *checks.Pass) error {
	defer r.files.Close()
	root := pass.Job.Source
	places, err := digest.At(ctx, root, pass.Job.Deadline)
	if err != nil {
		return err
	}
	memory, forgets := digest.RecallIn(ctx, r.o.State, places.ID()) // what cannot be recalled is read
	defer func() { _ = memory.Close() }()                           // told where it was written
	memory.Begin()
	s := r.session(places.ID(), root)
	r.choose(s.Seed)
	m := &meter.Meter{Name: "the copy"}
	toRead := int64(0)
	for i, f := range r.found {
		if f == there && (r.chosen == nil || r.chosen[i]) {
			toRead++
			m.Total.Add(r.x.Size(i))
		}
	}
	if toRead == 0 {
		return errors.New("none of the files that were to be read is there with its size")
	}
	defer pass.KeepAwake("Rechecking a copy")()
	pass.Phase(checks.Phase{Text: "Reading the copy", Meters: []*meter.Meter{m}})
	byPath := map[string]int{}
	for i, p := range r.under {
		byPath[p] = i
	}
	lanes, seeks := digest.LanesOn(root)
	reading := &digest.Reading{
		Root: root, Name: "the copy", Lanes: lanes, Seeks: seeks, Deadline: pass.Job.Deadline, Places: places, Memory: memory, Meter: m,
		Open: r.o.open, Again: func(rec *digest.Record) bool { return rec.When.Before(s.Began) },
	}
	var mu sync.Mutex
	good, bytes := int64(0), int64(0)
	files := r.files.All()
	if seeks {
		files = r.files.InDiskOrder(ctx, root, pass.Job.Deadline)
	}
	err = reading.Run(ctx, func(yield func(digest.File) bool) {
		for f := range files {
			if f.ID < 0 {
				i, ok := byPath[f.Path]
				if !ok {
					continue
				}
				f.ID = i
			}
			if r.found[f.ID] == there && (r.chosen == nil || r.chosen[f.ID]) && !yield(f) {
				return
			}
		}
	}, func(res *digest.Result) {
		if !r.judge(pass, res) {
			return
		}
		mu.Lock()
		good++
		bytes += res.Size
		mu.Unlock()
	})
	if closed := memory.Close(); closed != nil && (err != nil || m.Read.Load() > 0) {
		forgets = closed
	}
	if forgets != nil {
		pass.Fact(digest.MemoryError, forgets.Error(), "What was read could not be remembered: %s", checks.Plain(checks.Reason(forgets)))
	}
	if err != nil {
		return err
	}
	r.conclude(pass, reading, s, toRead, good, bytes)
	return nil
}

// judge compares one file with the manifest.
func (r *recheck) judge(pass *checks.Pass, res *digest.Result) (good bool) {
	flag := func(rule *checks.Rule, format string, args ...any) {
		pass.Add(checks.Finding{Path: r.x.Path(res.ID), Rule: rule, Level: rule.Level, Size: res.Size, Detail: fmt.Sprintf(format, args...)})
	}
	var want manifest.Sums
	r.x.Sums(res.ID, &want)
	switch {
	case res.Err != nil && len(res.Bad) > 0:
		flag(unreadable, "%s at byte %s, %s lost: %s", checks.Plural(int64(len(res.Bad)), "bad place"), checks.Count(res.Bad[0].Offset), checks.Bytes(res.Lost()), checks.Plain(checks.Reason(res.Err)))
	case res.Err != nil:
		flag(unreadable, "%s", checks.Plain(checks.Reason(res.Err)))
	case !res.Whole():
		flag(changing, "%s bytes were read of %s", checks.Count(res.Got), checks.Count(res.Size))
	case res.Sums.SHA256 != want.SHA256:
		flag(differs, "the SHA-256 is %x, the manifest says %x", res.Sums.SHA256, want.SHA256)
	default:
		return true
	}
	return false
}

func (r *recheck) conclude(pass *checks.Pass, reading *digest.Reading, s *session, toRead, good, bytes int64) {
	files := int64(r.x.Len())
	pass.Fact("read", toRead, "Files read: %s of %s", checks.Count(toRead), checks.Count(files))
	pass.Fact("good", good, "As the manifest has them: %s, %s", checks.Plural(good, "file"), checks.Bytes(bytes))
	if n := reading.Known(); n > 0 {
		pass.Fact("read_before_stop", n, "Of them read before this run was stopped, and unchanged since: %s", checks.Count(n))
	}
	if _, through := reading.Passed(); through > 0 {
		pass.FlagJob(cached, "%s read through the cache", checks.Plural(through, "file"))
	}
	bad := toRead - good
	whole := good == files
	if r.chosen != nil {
		pass.Fact("sample", r.o.Sample, "Sample: %g %% of the files, %s", r.o.Sample, checks.Count(r.nChosen))
		pass.Fact("seed", s.Seed, "Seed of the choice: %d", s.Seed)
		pass.FlagJob(sampled, "%s of %s, chosen at random with -seed %d", checks.Plural(r.nChosen, "file"), checks.Count(files), s.Seed)
	}
	switch {
	case bad > 0:
		pass.Summarize("Of %s, %s not what the manifest says, or cannot be read.", checks.Plural(toRead, "file"), are(bad))
	case r.chosen != nil:
		pass.Summarize("%s what the manifest says. %s", those(good, "read"), provesOf(good, files))
	case whole:
		pass.Summarize("Every byte of %s is what the manifest says.", checks.Plural(files, "file"))
	default:
		pass.Summarize("%s what the manifest says; others are not there.", those(good, "found and read"))
	}
	s.end()
	r.remember(pass, bad, good)
	switch {
	case whole:
		r.proof = append(r.proof, fmt.Sprintf("All %s were read to their last byte and compared by SHA-256: %s.", checks.Plural(files, "file"), checks.Bytes(bytes)))
	case r.chosen != nil && bad == 0:
		r.proof = append(r.proof, fmt.Sprintf("Read, out of %s: %s, chosen at random. %s", checks.Plural(files, "file"), checks.Count(good), provesOf(good, files)))
	}
	// Both were settled when they were written, the first maybe on another system.
	if r.x.Header.Source == pass.Job.Source {
		r.proof = append(r.proof, "This is the folder that the manifest was made from. It is no second copy of itself.")
	}
}

func those(n int64, done string) string {
	if n == 1 {
		return "The one file that was " + done + " is"
	}
	return fmt.Sprintf("The %s files that were %s are", checks.Count(n), done)
}

func are(n int64) string {
	if n == 1 {
		return "1 is"
	}
	return checks.Count(n) + " are"
}

// provesOf says what a sample without a bad file proves of all.
func provesOf(read, all int64) string {
	if read == 0 {
		return "That proves nothing."
	}
	if read == all {
		return "Those are all."
	}
	// As likely as one in twenty, no bad file would be among them where this share of all is bad.
	share := (1 - math.Pow(0.05, 1/float64(read))) * 100
	return fmt.Sprintf("That proves these files. Of all files, with 95 %% certainty, fewer than %s %% are damaged.", percent(share))
}

func percent(p float64) string {
	if p >= 10 {
		return fmt.Sprintf("%.0f", math.Ceil(p))
	}
	return fmt.Sprintf("%.1f", math.Ceil(p*10)/10)
}

// remember keeps for the check after arrival that this copy is good, or takes it back.
func (r *recheck) remember(pass *checks.Pass, bad, good int64) {
	if r.o.State == "" {
		return
	}
	failed := bad > 0
	for _, e := range pass.Ended() {
		failed = failed || e.Status != checks.Passed
	}
	var err error
	if failed {
		err = manifest.Forget(r.o.State, r.x.Seal, pass.Job.Source)
	} else {
		id, _ := disk.DiskID(pass.Job.Source) // unknown: told by its path
		err = manifest.Remember(r.o.State, r.x.Seal, &manifest.Rechecked{Folder: pass.Job.Source, Disk: id, When: r.o.Now(), Files: good, Of: int64(r.x.Len())})
	}
	if err != nil {
		pass.Fact("not_remembered", err.Error(), "This recheck could not be noted for the check after arrival: %s", checks.Plain(err.Error()))
	}
}

// describe fills in what the report as a whole says.
func (r *recheck) describe(rep *checks.Report) {
	rep.Manifest = r.file
	rep.Proof = r.proof
}
