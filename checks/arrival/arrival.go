// Package arrival compares what an object store lists with the manifest that was made when the copy was
// proven: is every file an object, of the right size and content?
package arrival

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync/atomic"
	"time"
	"unicode"
	"unicode/utf8"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/internal/compact"
	"loadline/checks/internal/meter"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// Options are the wishes of a caller; the zero value is useful.
type Options struct {
	// Columns are the person's own choice of columns; see listing.ParseColumns.
	Columns listing.Columns
	// Prefix, if HasPrefix, is what every key begins with: nothing is searched for.
	Prefix    string
	HasPrefix bool
	// Source is the folder of the disk: what the listing says of objects in parts is made again from its files.
	// Empty: nothing is read.
	Source string
	// Also are further manifests: of other boxes that hold parts or copies of the archive.
	Also []string
	// State is the state folder of this computer, which remembers what was read and rechecked; empty: nothing.
	State   string
	Version string
	Now     func() time.Time // nil means time.Now
}

// ErrListing wraps every reason why a listing cannot be used.
var ErrListing = listing.ErrListing

// Run compares a manifest with one or several listings of the store and reports which files are not, or not
// wholly, objects. Memory grows with the manifest only (see manifest.Index). The listings are read twice or more,
// so they must be files.
//
// A manifest or a listing that cannot be trusted is a checks.JobError, and wraps manifest.ErrUnusable or
// ErrListing. If ctx ends, the report is Interrupted and the error that of ctx.
func Run(ctx context.Context, file string, listings []string, o Options, watch func(checks.Event)) (*checks.Report, error) {
	job := checks.Job{Stage: checks.Arrival, Prefix: o.Prefix, Version: o.Version, Now: o.Now}
	defer compact.Lean()()
	return checks.Run(ctx, job, newList(file, listings, o), watch)
}

// List returns the checks after arrival, in their order, for those who only want to show them.
func List() []*checks.Check { return newList("", nil, Options{}) }

// newList returns the checks of one comparison, for checks.Run.
func newList(file string, listings []string, o Options) []*checks.Check {
	a := &arrival{o: &o, listings: listings, compared: map[listing.Kind]int64{}}
	for _, f := range append([]string{file}, o.Also...) {
		a.archives = append(a.archives, &archive{file: f})
	}
	objects, keys := objectsCheck, keysCheck // copies: what they do belongs to one comparison
	objects.Finish = a.objects
	keys.Finish = a.keys
	keys.Needs = []*checks.Check{&objects}
	return []*checks.Check{&objects, &keys}
}

// An arrival is one comparison.
type arrival struct {
	o        *Options
	pass     *checks.Pass
	listings []string
	set      *listing.Set
	formats  []*listing.Format
	archives []*archive
	reading  listing.Reading
	keep     manifest.Keep
	kinds    map[listing.Kind]bool // of the checksums in the listings

	rows int64 // of all listings, once they were read

	outside, markers, repeated, own int64
	extras                          int64 // objects that belong to no file
	named                           []extra
	compared                        map[listing.Kind]int64
	tags                            tagTally
	pending                         compact.List[pendingSum]
	forms                           []formed
	newest                          time.Time // of the objects of the archive
	verdict                         verdict
	known                           manifest.Sums
	fromDisk                        diskFacts
}

// An archive is one manifest, and what was found of it.
type archive struct {
	file    string
	x       *manifest.Index
	cursor  *manifest.Cursor
	want    mapping
	m       mapping
	under   [len(listing.Readings)]mapping
	state   []matched
	how     []proof
	deleted map[int]where // files whose object is said to be deleted
}

// matched is what became of a file of the manifest.
type matched uint8

const (
	unmatched    matched = iota
	matchedGood          // an object of its size, and of its checksum where that was compared
	matchedBad           // an object that differs
	matchedTwice         // listed more than once, and not alike
)

func (r *archive) count(m matched) int64 {
	n := int64(0)
	for _, s := range r.state {
		if s == m {
			n++
		}
	}
	return n
}

func (a *arrival) count(m matched) int64 {
	n := int64(0)
	for _, r := range a.archives {
		n += r.count(m)
	}
	return n
}

// files is how many files the manifests hold together.
func (a *arrival) files() int64 {
	n := int64(0)
	for _, r := range a.archives {
		n += int64(r.x.Len())
	}
	return n
}

// where is a row of the listings.
type where struct {
	part int32
	at   int64
}

// at says for people where a row stands.
func (a *arrival) at(w where) string {
	s := a.formats[w.part].Unit + " " + checks.Count(w.at)
	if len(a.set.Parts) > 1 {
		s += " of " + names.QuoteShort(a.set.Parts[w.part].Path)
	}
	return s
}

// extra is an object that belongs to no file.
type extra struct {
	key, path string
	size      int64
}

// formed is a file whose object was found under another form of its name.
type formed struct {
	archive *archive
	file    int
	key     string
}

// objects is the Finish of its check.
func (a *arrival) objects(ctx context.Context, pass *checks.Pass) error {
	a.pass = pass
	if err := a.settle(ctx); err != nil {
		return err
	}
	if err := a.load(ctx); err != nil {
		return err
	}
	pass.Describe(a.describe)
	if err := a.find(ctx); err != nil {
		return a.badListing(ctx, err)
	}
	partial := a.set.Partial(a.formats, a.archives[0].m.keyHead)
	if err := a.compareAll(ctx); err != nil {
		return a.badListing(ctx, err)
	}
	a.contradictions()
	if err := a.prove(ctx); err != nil {
		return err
	}
	a.tags.conclude(a)
	a.conclude(len(partial) == 0)
	if len(partial) > 0 {
		return fmt.Errorf("the listing is incomplete: %s; give all of its pages and files together", strings.Join(partial, "; "))
	}
	return nil
}

// settle looks at what was given before anything is read.
func (a *arrival) settle(ctx context.Context) error {
	for _, r := range a.archives {
		if r.file == "" {
			return &checks.JobError{Field: checks.FieldManifest, Err: errors.New("no manifest was given"), Hint: "choose the one that the check after copying wrote"}
		}
	}
	if len(a.listings) == 0 {
		return &checks.JobError{Field: checks.FieldListing, Err: errors.New("no listing was given"), Hint: "ask the store for a list of its objects with key, size and checksum"}
	}
	if err := a.settleSource(ctx); err != nil {
		return err
	}
	var err error
	if a.set, err = listing.Gather(a.listings); err != nil {
		return a.badListing(ctx, err)
	}
	return nil
}

// badListing makes the error of a listing one of the job, with its hint apart.
func (a *arrival) badListing(ctx context.Context, err error) error {
	var job *checks.JobError
	if ctx.Err() != nil || errors.As(err, &job) {
		return err
	}
	hint := ""
	var e *listing.Error
	if errors.As(err, &e) {
		hint = clause(e.Hint)
	}
	return &checks.JobError{Field: checks.FieldListing, Err: err, Hint: hint}
}

// clause makes a sentence one that follows a semicolon.
func clause(s string) string {
	s = strings.TrimSuffix(s, ".")
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || strings.HasPrefix(s, "Loadline") {
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// sampleRows is how many rows of a listing are looked at for the kinds of its checksums.
const sampleRows = 200

// load reads the manifests, with the checksums that the listings hold.
func (a *arrival) load(ctx context.Context) error {
	a.kinds = map[listing.Kind]bool{}
	for i := range a.set.Parts {
		if i >= 8 {
			break // parts of one listing hold the same; what comes later is seen when all is read
		}
		// What is wrong with a listing is reported once all of it has been read.
		_, rows, _ := a.set.Inspect(ctx, a.listingOptions(), i, sampleRows)
		for k := range rows {
			a.note(&rows[k])
		}
	}
	return a.loadAll(ctx)
}

// note notes which kinds of checksums a row holds.
func (a *arrival) note(row *listing.Row) {
	for i := range row.Sums {
		if k := row.Sums[i].Kind; k.Size() > 0 && (row.Sums[i].Parts == 0 || row.Sums[i].Parts == 1) {
			a.kinds[k] = true
		}
	}
}

func (a *arrival) wanted() manifest.Keep {
	// The disk is compared by SHA-256, and so are files of several manifests.
	keep := manifest.Keep{SHA256: a.kinds[listing.SHA256] || a.o.Source != "" || len(a.archives) > 1}
	for k, set := range kindSets {
		if a.kinds[k] {
			keep.Set |= set
		}
	}
	return keep
}

func (a *arrival) loadAll(ctx context.Context) error {
	a.keep = a.wanted()
	seals := map[string]string{}
	for _, r := range a.archives {
		r.x, r.cursor = nil, nil // its memory goes before the new one comes
		m := &meter.Meter{Name: "the manifest"}
		m.Total.Store(max(fileSize(r.file), 1))
		a.pass.Phase(checks.Phase{Text: "Reading the manifest", Meters: []*meter.Meter{m}})
		x, err := manifest.Load(ctx, r.file, a.keep, func(n int) { m.Done.Add(int64(n)); m.Read.Add(int64(n)) })
		if err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return &checks.JobError{Field: checks.FieldManifest, Err: err}
		}
		if other, twice := seals[x.Seal]; twice {
			return &checks.JobError{Field: checks.FieldManifest, Err: fmt.Errorf("%s and %s are one and the same manifest", names.Quote(other), names.Quote(r.file)), Hint: "give each once"}
		}
		seals[x.Seal] = r.file
		r.x, r.cursor = x, x.Cursor()
		r.want = expected(x.Header.Prefix)
		if a.o.HasPrefix {
			r.want = expected(a.pass.Job.Prefix)
		}
		r.state, r.how = make([]matched, x.Len()), make([]proof, x.Len())
	}
	return nil
}

// fileSize is for the progress; where it cannot be had, reading tells why.
func fileSize(file string) int64 {
	info, err := os.Stat(file)
	if err != nil {
		return 0
	}
	return info.Size()
}

func (a *arrival) listingOptions() listing.Options { return listing.Options{Columns: a.o.Columns} }

// read passes over all listings.
func (a *arrival) read(ctx context.Context, phase string, row func(part int, r *listing.Row) error) error {
	m := &meter.Meter{Name: "the listing"}
	m.Total.Store(max(a.set.Bytes(), 1))
	rows := &atomic.Int64{}
	a.pass.Phase(checks.Phase{Text: phase, Meters: []*meter.Meter{m}, Entries: rows})
	o := a.listingOptions()
	o.Progress = func(n int64) {
		m.Read.Add(n - m.Done.Load())
		m.Done.Store(n)
	}
	n, told := int64(0), int64(0)
	formats, err := readAhead(ctx, func(ctx context.Context, row func(int, *listing.Row) error) ([]*listing.Format, error) {
		return a.set.Read(ctx, o, row)
	}, func(part int, r *listing.Row) error {
		if n++; n-told == 1024 {
			rows.Store(n)
			told = n
		}
		return row(part, r)
	})
	if err != nil {
		return err
	}
	if a.formats != nil && n != a.rows {
		return &listing.Error{Err: errors.New("it changed while it was read"), Hint: "check again"}
	}
	a.rows = n
	a.formats = formats
	return nil
}

// describe fills in what the report as a whole says.
func (a *arrival) describe(rep *checks.Report) {
	h := a.archives[0].x.Header
	rep.Source = checks.Place{Path: h.Source, Prefix: h.Prefix, Free: -1, Total: -1}
	rep.Totals = checks.Totals{}
	for _, r := range a.archives {
		h := r.x.Header
		rep.Totals.Files += h.Files
		rep.Totals.Bytes += h.Bytes
		rep.Totals.Links += h.Links
		rep.Totals.Others += h.Others
	}
	rep.Manifest = a.archives[0].file
	rep.Proof = a.proofWords(rep)
}

// Rows are handed over in batches of so many rows, and of about so many bytes of keys.
const (
	batchRows = 1024
	batchKeys = 128 << 10
	batches   = 4
)

// A batch holds copies of rows.
type batch struct {
	rows  []listing.Row
	parts []int // of which listing each row is
	keys  []byte
	sums  []listing.Digest
}

func newBatch() *batch {
	return &batch{
		rows: make([]listing.Row, 0, batchRows), parts: make([]int, 0, batchRows),
		keys: make([]byte, 0, batchKeys), sums: make([]listing.Digest, 0, 2*batchRows),
	}
}

// fits reports whether a row can be added without moving what is there. Any row fits an empty batch.
func (b *batch) fits(r *listing.Row) bool {
	return len(b.rows) == 0 || len(b.rows) < batchRows &&
		len(b.keys)+len(r.Key) <= cap(b.keys) && len(b.sums)+len(r.Sums) <= cap(b.sums)
}

func (b *batch) add(part int, r *listing.Row) {
	c := *r
	k, s := len(b.keys), len(b.sums)
	b.keys, b.sums = append(b.keys, r.Key...), append(b.sums, r.Sums...)
	c.Key, c.Sums = b.keys[k:len(b.keys):len(b.keys)], b.sums[s:len(b.sums):len(b.sums)]
	b.rows, b.parts = append(b.rows, c), append(b.parts, part)
}

func (b *batch) empty() {
	b.rows, b.parts, b.keys, b.sums = b.rows[:0], b.parts[:0], b.keys[:0], b.sums[:0]
}

// readAhead calls row for every row that read gives, in order, while read goes on: parsing a listing and looking
// up its keys take about as long as each other. An error of row ends both.
func readAhead[T any](ctx context.Context, read func(context.Context, func(int, *listing.Row) error) (T, error), row func(int, *listing.Row) error) (T, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	full, free := make(chan *batch, batches), make(chan *batch, batches+1)
	for range batches - 1 {
		free <- newBatch()
	}
	var result T
	var readErr error
	go func() {
		defer close(full)
		b := newBatch()
		result, readErr = read(ctx, func(part int, r *listing.Row) error {
			if !b.fits(r) {
				full <- b // it has room for all there are
				select {
				case b = <-free:
				case <-ctx.Done():
					b = newBatch() // what was read is no longer wanted
					return ctx.Err()
				}
			}
			b.add(part, r)
			return nil
		})
		full <- b
	}()
	var rowErr error
	for b := range full {
		for i := range b.rows {
			if rowErr != nil {
				break
			}
			if rowErr = row(b.parts[i], &b.rows[i]); rowErr != nil {
				cancel()
			}
		}
		b.empty()
		free <- b
	}
	if rowErr != nil {
		return result, rowErr
	}
	return result, readErr
}
