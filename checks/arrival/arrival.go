package arrival

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"path"
	"strings"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/internal/compact"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// Options are the wishes of a caller; the zero value is useful.
type Options struct {
	// Columns overrides which column is read as what; see MatchColumns.
	Columns map[string]string
	// Prefix, if HasPrefix, is what every key begins with: nothing is searched for.
	Prefix    string
	HasPrefix bool
	Version   string
	Now       func() time.Time // nil means time.Now
}

// Run compares a manifest with one or several listings of the store and reports which files are
// not, or not wholly, objects. Memory grows with the manifest only (see index). The listings are
// read two or three times, so they must be files.
//
// A manifest or a listing that cannot be trusted is an error that wraps checks.ErrBadJob, and
// manifest.ErrUnusable or ErrListing, never a report. If ctx ends, Run returns its error.
func Run(ctx context.Context, file string, listings []string, o Options, watch func(checks.Event)) (*checks.Report, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if watch == nil {
		watch = func(checks.Event) {}
	}
	if len(listings) == 0 {
		return nil, fmt.Errorf("%w: no listing given; ask the store for a list of its objects with key and size", checks.ErrBadJob)
	}
	prefix, err := checks.CleanPrefix(o.Prefix)
	if err != nil {
		return nil, err
	}
	o.Prefix = prefix
	defer compact.Lean()()
	a := &arrival{o: &o, listings: listings, began: time.Now()}
	tell := a.pump(watch)
	defer tell.stop()
	rep := &checks.Report{
		Stage: checks.Arrival, Version: o.Version, Started: o.Now(), Manifest: file, Verdict: checks.Warned,
		Machine: checks.Machine(),
	}
	if err := a.load(ctx, file); err != nil {
		return nil, badJob(ctx, err)
	}
	if err := a.find(ctx); err != nil {
		return nil, badJob(ctx, err)
	}
	job := &checks.Job{Stage: checks.Arrival, Source: a.ix.head.Source, Prefix: a.ix.head.Prefix, Version: o.Version, Now: o.Now}
	for _, c := range List() {
		tell.event(checks.Event{Check: c})
		t := checks.NewPass(c, job, 1)
		t.State = a
		if err := c.Finish(ctx, t); err != nil {
			return nil, badJob(ctx, err)
		}
		res := t.Close("")
		rep.Checks = append(rep.Checks, res)
		tell.event(checks.Event{Check: c, Result: &res})
	}
	rep.Source = checks.Place{Path: a.ix.head.Source, Prefix: a.ix.head.Prefix, Free: -1, Total: -1}
	rep.Totals = checks.Totals{Files: a.ix.head.Files, Bytes: a.ix.head.Bytes, Links: a.ix.head.Links, Others: a.ix.head.Others}
	rep.Verdict = checks.Verdict(rep.Checks)
	rep.Finished = o.Now()
	return rep, nil
}

func badJob(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return fmt.Errorf("%w: %w", checks.ErrBadJob, err)
}

// An arrival is one comparison.
type arrival struct {
	o        *Options
	listings []string
	formats  []*Format
	ix       *index
	want     mapping
	m        mapping
	began    time.Time
	phase    atomic.Pointer[string]
	rows     atomic.Int64 // of this pass
	perPass  atomic.Int64 // rows of all listings; 0 until the first pass has ended
	passed   atomic.Int64 // passes that have ended

	outside, markers, repeated, extras, own int64
	compared                                map[Kind]int64
	multiPart, otherSum, bare               int64
	nameOnly                                int64 // of the bare ones: no size either
	tags                                    tagTally
	forms                                   []formed
}

// formed is a file whose object was found under another form of its name.
type formed struct {
	file int
	key  string
}

func (a *arrival) enter(phase string) {
	a.phase.Store(&phase)
	a.rows.Store(0)
}

// load reads the manifest.
func (a *arrival) load(ctx context.Context, file string) error {
	a.enter("Reading the manifest")
	f, err := openFile(file)
	if err != nil {
		return fmt.Errorf("%w: %w", manifest.ErrUnusable, err)
	}
	defer f.Close()
	a.ix = &index{}
	a.ix.head, err = manifest.Read(f, func(f *manifest.File) error {
		if a.rows.Add(1)%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		return a.ix.add(f)
	})
	if err != nil {
		return fmt.Errorf("%s: %w", names.Quote(file), err)
	}
	if a.ix.files.Len() == 0 {
		return fmt.Errorf("%s: %w: it holds no file", names.Quote(file), manifest.ErrUnusable)
	}
	a.want = expected(a.ix.head.Prefix)
	if a.o.HasPrefix {
		a.want = expected(a.o.Prefix)
	}
	return nil
}

// find reads the listings once, to see that they can be read to their ends and how their keys
// correspond to paths.
func (a *arrival) find(ctx context.Context) error {
	a.enter("Reading the listing")
	f := newFinder(a.ix)
	loose := newFinder(a.ix)
	loose.sizes = false
	for _, l := range a.listings {
		format, err := ReadListingFile(ctx, l, a.o.Columns, func(r *Row) error {
			a.rows.Add(1)
			if r.Deleted {
				return nil
			}
			f.look(r)
			if len(f.votes) == 0 {
				loose.look(r)
			}
			return nil
		})
		if err != nil {
			return err
		}
		a.formats = append(a.formats, format)
	}
	a.perPass.Store(a.rows.Load())
	a.passed.Add(1)
	m, ok := f.best(a.want)
	if !ok {
		m, ok = loose.best(a.want)
	}
	if a.o.HasPrefix {
		m.keyHead, m.pathHead = a.want.keyHead, ""
	} else if !ok {
		return fmt.Errorf("%w: none of its %s names a file of the manifest (made of %s on %s): it is the listing of another archive, or of another folder",
			ErrListing, checks.Plural(f.keys, "key"), names.Quote(a.ix.head.Source), a.ix.head.Made.Format(time.DateOnly))
	}
	a.m = m
	return nil
}

// pass reads all listings once more.
func (a *arrival) pass(ctx context.Context, phase string, row func(*Row) error) error {
	a.enter(phase)
	for _, l := range a.listings {
		if _, err := ReadListingFile(ctx, l, a.o.Columns, func(r *Row) error {
			a.rows.Add(1)
			return row(r)
		}); err != nil {
			return err
		}
	}
	a.passed.Add(1)
	if a.rows.Load() != a.perPass.Load() {
		return fmt.Errorf("%w: it changed while it was read; check again", ErrListing)
	}
	return nil
}

// place finds the file of a row: its number, or -1 and the path it would have. counted is false
// where the row is no object of the archive.
func (a *arrival) place(row *Row) (i int, p string, counted bool) {
	p, inside := a.m.path(row.Key)
	if !inside {
		return -1, p, false
	}
	if i = a.ix.find(p); i >= 0 {
		return i, p, true
	}
	return -1, p, !strings.HasSuffix(p, "/") && p != "" && !manifest.IsName(path.Base(p))
}

// objects is the Finish of its check.
func (a *arrival) objects(ctx context.Context, pass *checks.Pass) error {
	a.compared = map[Kind]int64{}
	err := a.pass(ctx, "Comparing the objects", func(row *Row) error {
		i, p, counted := a.place(row)
		switch {
		case row.Deleted && i >= 0:
			a.ix.files.At(i).deleted = row.Line
		case row.Deleted:
		case i >= 0:
			a.compare(pass, row, i)
		case counted:
			a.extras++
		case p == "" || strings.HasSuffix(p, "/") && strings.HasPrefix(row.Key, a.m.keyHead):
			a.markers++ // stores show a folder by an empty object (common practice, no source)
		case manifest.IsName(path.Base(p)):
			a.own++
		default:
			a.outside++
		}
		return nil
	})
	if err != nil {
		return err
	}
	if a.extras > 0 && a.ix.count(unmatched) > 0 {
		if err := a.otherForms(ctx, pass); err != nil {
			return err
		}
	}
	if a.ix.count(unmatched) == a.ix.head.Files {
		return fmt.Errorf("%w: none of its keys, with %s taken off, names a file of the manifest: it is the listing of another archive, or the keys begin otherwise",
			ErrListing, showHead(a.m.keyHead))
	}
	missing := int64(0)
	for i := range a.ix.files.Len() {
		f := a.ix.files.At(i)
		switch {
		case f.state == unmatched:
			missing++
			pass.Add(checks.Finding{
				Path: string(a.ix.path(i)), Rule: missingObject, Level: checks.Fail, Size: f.size,
				Detail: "no object with the key " + names.Quote(a.keyOf(i)),
			})
		case f.deleted > 0 && f.state != matchedTwice:
			f.state = matchedTwice
			pass.Add(checks.Finding{
				Path: string(a.ix.path(i)), Rule: listedTwice, Level: checks.Fail, Size: f.size,
				Detail: fmt.Sprintf("line %d says that it was deleted", f.deleted),
			})
		}
	}
	a.tags.conclude(pass, a)
	a.conclude(pass, missing)
	return nil
}

func (a *arrival) keyOf(i int) string {
	return a.m.keyHead + strings.TrimPrefix(string(a.ix.path(i)), a.m.pathHead)
}

// compare judges one object against its file.
func (a *arrival) compare(pass *checks.Pass, row *Row, i int) {
	f := a.ix.files.At(i)
	flag := func(r *checks.Rule, format string, args ...any) {
		pass.Add(checks.Finding{Path: string(a.ix.path(i)), Rule: r, Level: r.Level, Size: f.size, Detail: fmt.Sprintf(format, args...)})
	}
	var v verdict
	v.judge(row, f)
	if f.state != unmatched {
		// An object may be listed twice, in two files or as two versions; then the two must agree.
		switch {
		case f.state == matchedTwice:
		case f.state == matchedGood && v.good():
			a.repeated++
		default:
			f.state = matchedTwice
			flag(listedTwice, "listed again in line %d, and not alike", row.Line)
		}
		return
	}
	f.state = matchedGood
	if v.sizeDiffers {
		f.state = matchedBad
		flag(objectSize, "the object has %s bytes, the file has %s (line %d)", checks.Count(row.Size), checks.Count(f.size), row.Line)
	}
	for _, d := range v.differs {
		f.state = matchedBad
		flag(objectChecksum, "the %s in the listing is %x, the file has %x (line %d)", d.Kind, d.Bytes[:d.Kind.size()], sumOf(&f.sums, d.Kind), row.Line)
	}
	for _, k := range v.equal {
		a.compared[k]++
	}
	switch {
	case f.state == matchedBad:
	case v.proven:
	case v.tagEqual:
		a.tags.equal++
	case v.tagDiffers:
		a.tags.differ(i, row.Line)
	case v.multi:
		a.multiPart++
	case v.other:
		a.otherSum++
	default:
		a.bare++
		if row.Size < 0 {
			a.nameOnly++
		}
	}
}

// A verdict is what one row says of its file.
type verdict struct {
	sizeDiffers          bool
	differs              []*Digest // checksums of the content that are not the file's
	equal                []Kind    // those that are
	proven               bool      // one that is no tag agrees
	tagEqual, tagDiffers bool
	multi, other         bool // a tag of parts; a checksum that cannot be compared
}

func (v *verdict) judge(row *Row, f *indexed) {
	v.sizeDiffers = row.Size >= 0 && row.Size != f.size
	for k := range row.Sums {
		d := &row.Sums[k]
		comparable, equal := d.agrees(&f.sums)
		switch {
		case d.Kind == MultiPart:
			v.multi = true
		case !comparable:
			v.other = true
		case equal:
			v.equal = append(v.equal, d.Kind)
			v.proven = v.proven || !d.Tag
			v.tagEqual = v.tagEqual || d.Tag
		case d.Tag && d.Kind == MD5:
			v.tagDiffers = true
		default:
			v.differs = append(v.differs, d)
		}
	}
}

func (v *verdict) good() bool { return !v.sizeDiffers && len(v.differs) == 0 && !v.tagDiffers }

// sumOf returns the sum of a kind that the manifest holds.
func sumOf(s *sums.Sums, k Kind) []byte {
	switch k {
	case SHA256:
		return s.SHA256[:]
	case MD5:
		return s.MD5[:]
	}
	return binary.BigEndian.AppendUint32(nil, s.CRC32C)
}

// conclude writes what holds of all objects.
func (a *arrival) conclude(pass *checks.Pass, missing int64) {
	h := a.ix.head
	proven := int64(0)
	for _, k := range []Kind{SHA256, MD5, CRC32C} {
		if n := a.compared[k]; n > 0 {
			pass.Fact("compared_"+strings.ToLower(strings.NewReplacer("-", "").Replace(k.String())), n, "%s compared: %s of %s", k, checks.Count(n), checks.Plural(h.Files, "file"))
			proven += n
		}
	}
	if n := a.multiPart + a.otherSum; n > 0 {
		what := "a multi-part tag, which is a digest of the digests of parts and no digest of the content"
		if a.multiPart == 0 {
			what = "a checksum that the manifest does not hold or that is no digest of the content"
		}
		have := "have"
		if n == 1 {
			have = "has"
		}
		pass.FlagJob(notComparable, "%s %s %s; for them only name and size were compared", checks.Plural(n, "object"), have, what)
	}
	if n := a.bare - a.nameOnly; n > 0 {
		pass.FlagJob(noChecksums, "no checksum in the listing for %s of %s; for them only name and size were compared", checks.Count(n), checks.Plural(h.Files, "file"))
	}
	if n := a.nameOnly; n > 0 {
		pass.FlagJob(noChecksums, "no checksum and no size in the listing for %s of %s; for them only the name was compared", checks.Count(n), checks.Plural(h.Files, "file"))
	}
	if h.Links+h.Others+h.Clutter+h.LeftOff > 0 {
		level := checks.Note
		if h.Links+h.Others+h.LeftOff > 0 {
			level = checks.Warn
		}
		off := ""
		if h.LeftOff > 0 {
			off = "; left off the copy list, it did not travel: " + checks.Plural(h.LeftOff, "file")
		}
		pass.Add(checks.Finding{
			Rule: notCovered, Level: level,
			Detail: fmt.Sprintf("the source also held %s, %s, and %s of desktop clutter left out of the copy%s", checks.Plural(h.Links, "link"), checks.Plural(h.Others, "special file"), checks.Plural(h.Clutter, "file"), off),
		})
	}
	pass.Fact("files", h.Files, "Files in the manifest: %s, %s", checks.Count(h.Files), checks.Bytes(h.Bytes))
	pass.Fact("listed", a.perPass.Load(), "Rows in the listing: %s", checks.Count(a.perPass.Load()))
	for i, f := range a.formats {
		pass.Fact(fmt.Sprintf("listing_%d", i+1), f.String(), "Read %s as %s", names.Quote(a.listings[i]), f)
		if f.Old > 0 {
			pass.Fact(fmt.Sprintf("old_versions_%d", i+1), f.Old, "Passed over: %s", checks.Plural(f.Old, "old version"))
		}
	}
	bad := a.ix.count(matchedBad) + a.ix.count(matchedTwice)
	switch {
	case missing > 0 || bad > 0:
		pass.Summarize("%s: %s missing, %s different.", checks.Plural(h.Files, "file"), checks.Count(missing), checks.Count(bad))
	case a.bare+a.multiPart+a.otherSum == 0:
		pass.Summarize("Every one of %s is an object, of the right content.", checks.Plural(h.Files, "file"))
	case a.nameOnly > 0:
		pass.Summarize("Every one of %s has an object of its name; content was compared for %s.", checks.Plural(h.Files, "file"), checks.Count(h.Files-a.bare-a.multiPart-a.otherSum))
	case proven == 0:
		pass.Summarize("Every one of %s is an object of the right size. Only names and sizes were compared.", checks.Plural(h.Files, "file"))
	default:
		pass.Summarize("Every one of %s is an object of the right size; content was compared for %s.", checks.Plural(h.Files, "file"), checks.Count(h.Files-a.bare-a.multiPart-a.otherSum))
	}
}

func finishArrival(f func(*arrival, context.Context, *checks.Pass) error) func(context.Context, *checks.Pass) error {
	return func(ctx context.Context, pass *checks.Pass) error {
		a, ok := pass.State.(*arrival)
		if !ok {
			return errors.New("this check runs as part of the stage after arrival only")
		}
		return f(a, ctx, pass)
	}
}
