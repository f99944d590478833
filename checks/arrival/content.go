package arrival

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"path/filepath"
	"slices"
	"sync"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/arrival/parts"
	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/meter"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
	"loadline/checks/share"
)

// pendingSum is a checksum of an object that only the disk can prove.
type pendingSum struct {
	digest  listing.Digest
	archive int32
	file    int32
	where   where
}

func (p *pendingSum) sameFile(q *pendingSum) bool { return p.archive == q.archive && p.file == q.file }

// pendingByFile sorts what is pending by files.
func (a *arrival) pendingByFile() []*pendingSum {
	list := make([]*pendingSum, 0, a.pending.Len())
	for i := range a.pending.Len() {
		list = append(list, a.pending.At(i))
	}
	slices.SortStableFunc(list, func(x, y *pendingSum) int {
		return cmp.Or(cmp.Compare(x.archive, y.archive), cmp.Compare(x.file, y.file))
	})
	return list
}

// diskFacts are what the disk told.
type diskFacts struct {
	asked, read, remembered int64
	told                    int64 // files that were named with the reason why they are not proven
	sizes                   []int64
	wrong                   int64
}

func (d *diskFacts) facts(pass *checks.Pass) {
	if d.asked == 0 {
		return
	}
	pass.Fact("disk_files", d.asked, "Files of the disk that were to prove objects: %s, of them %s read now and %s remembered", checks.Count(d.asked), checks.Count(d.read), checks.Count(d.remembered))
	if len(d.sizes) > 0 {
		shown := ""
		for i, n := range d.sizes[:min(len(d.sizes), 5)] {
			if i > 0 {
				shown += ", "
			}
			shown += checks.Count(n)
		}
		pass.Fact("part_sizes", d.sizes, "Sizes of parts that fit, most frequent first: %s bytes", shown)
	}
}

// settleSource looks whether the folder of the disk is there.
func (a *arrival) settleSource(ctx context.Context) error {
	if a.o.Source == "" {
		return nil
	}
	real, err := checks.SourceFolder(ctx, a.o.Source, a.pass.Job.Deadline)
	if err != nil {
		return err
	}
	a.o.Source = real
	return nil
}

// How many sizes of parts are tried in one reading, and in all: each costs a digest of the whole content (common
// practice, no source).
const (
	sizesAtOnce = 8
	mostSizes   = 64
)

// A proving is one file whose object the disk may prove.
type proving struct {
	archive *archive
	file    int
	rows    []*pendingSum
	sum     *pendingSum // the one of parts that is tried; nil if there is none
	count   int         // of its parts
	tried   []int64
	left    bool // there are more sizes to try
}

// prove reads the files of the disk whose objects are not proven otherwise, and makes from them what the listing
// holds of the objects.
func (a *arrival) prove(ctx context.Context) error {
	if a.o.Source == "" || a.pending.Len() == 0 {
		return nil
	}
	todo := a.toProve()
	if len(todo) == 0 {
		return nil
	}
	a.fromDisk.asked = int64(len(todo))
	places, err := digest.At(ctx, a.o.Source, a.pass.Job.Deadline)
	if err != nil {
		return err
	}
	defer a.pass.KeepAwake("Reading the files of objects in parts")()
	memory, forgets := digest.Recall(a.o.State, places.ID()) // what cannot be recalled is read
	memory.Begin()
	defer func() {
		if err := memory.Close(); err != nil {
			forgets = err
		}
		if forgets != nil {
			a.pass.Fact(digest.MemoryError, forgets.Error(), "What was read could not be remembered: %s", checks.Plain(checks.Reason(forgets)))
		}
	}()
	p := &prover{arrival: a, places: places, memory: memory, log: recallFits(a.o.State, places.ID())}
	defer p.log.close()
	todo, err = p.recall(ctx, todo)
	if err != nil {
		return err
	}
	for len(todo) > 0 {
		if todo, err = p.read(ctx, todo); err != nil {
			return err
		}
		if len(todo) == 0 {
			todo = p.secondThoughts()
		}
	}
	a.fromDisk.sizes = p.learner.Sizes()
	p.conclude()
	return nil
}

// toProve gathers the files.
func (a *arrival) toProve() []*proving {
	var list []*proving
	byFile := a.pendingByFile()
	for n := 0; n < len(byFile); {
		end := n + 1
		for end < len(byFile) && byFile[end].sameFile(byFile[n]) {
			end++
		}
		r, file := a.archives[byFile[n].archive], int(byFile[n].file)
		if r.state[file] == matchedGood && !r.how[file].content() {
			t := &proving{archive: r, file: file, rows: byFile[n:end]}
			t.choose()
			if t.sum != nil || t.whole() != 0 {
				list = append(list, t)
			}
		}
		n = end
	}
	return list
}

// choose takes the checksum of parts that says most: the strongest, CRCs last.
func (t *proving) choose() {
	count := 0
	for _, p := range t.rows {
		count = max(count, p.digest.Parts)
	}
	rank := func(p *pendingSum) int { return slices.Index(kindsInOrder, p.digest.Kind) }
	for _, p := range t.rows {
		n := p.digest.Parts
		if n < 0 {
			n = count // another checksum of the object says of how many
		}
		if n > 0 && (t.sum == nil || rank(p) < rank(t.sum)) {
			t.sum, t.count = p, n
		}
	}
}

// whole are the checksums of the whole content that the disk can give.
func (t *proving) whole() sums.Set {
	set := sums.Set(0)
	for _, p := range t.rows {
		if p.digest.Parts == 0 {
			set |= kindSets[p.digest.Kind]
		}
	}
	return set
}

// A prover reads the disk for an arrival.
type prover struct {
	*arrival
	places  *digest.Places
	memory  *digest.Memory
	log     *fits
	mu      sync.Mutex
	learner parts.Learner
	misfits []*proving // none of the sizes of their parts fits: what that means is known at the end
}

// recall takes those out that an earlier run has proven and that are unchanged since.
func (p *prover) recall(ctx context.Context, todo []*proving) ([]*proving, error) {
	if p.log.known() == 0 {
		return todo, nil
	}
	var left []*proving
	for _, t := range todo {
		if t.sum == nil {
			left = append(left, t)
			continue
		}
		name := t.archive.x.OnDisk(t.file)
		state, err := share.Guard(ctx, p.pass.Job.Deadline, func() (disk.State, error) {
			return disk.Lstat(filepath.Join(p.o.Source, filepath.FromSlash(name)))
		})
		if err != nil && (ctx.Err() != nil || share.Silent(err)) {
			return nil, err
		}
		if err == nil {
			if size, ok := p.log.find(fitKey(p.places.IdentOf(name, &state), t.known(), t.sum, t.count)); ok {
				p.learner.Fits(size, t.count)
				p.fromDisk.remembered++
				p.fitParts(t)
				continue
			}
		}
		left = append(left, t)
	}
	return left, nil
}

// known is the SHA-256 of the file in the manifest.
func (t *proving) known() [32]byte {
	var s manifest.Sums
	t.archive.x.Sums(t.file, &s)
	return s.SHA256
}

func (p *prover) fit(t *proving, by proof) { t.archive.how[t.file] = max(t.archive.how[t.file], by) }

// fitParts also notes that the tags of this store are made of MD5: those of other objects that differ are then wrong.
func (p *prover) fitParts(t *proving) {
	p.fit(t, byParts)
	if t.sum.digest.Tag {
		p.tags.equal++
	}
}

// A trial is the hashing of parts of one file while it is read.
type trial struct {
	*proving
	hasher *parts.Hasher
	sizes  []int64
}

// read reads files once and returns those for which more sizes are to be tried.
func (p *prover) read(ctx context.Context, todo []*proving) (again []*proving, err error) {
	m := &meter.Meter{Name: "the disk"}
	for _, t := range todo {
		m.Total.Add(t.archive.x.Size(t.file))
	}
	p.pass.Phase(checks.Phase{Text: "Reading the disk for objects in parts", Meters: []*meter.Meter{m}})
	lanes, seeks := digest.LanesOn(p.o.Source)
	trials := make([]*trial, len(todo))
	r := &digest.Reading{
		Root: p.o.Source, Name: "the disk", Lanes: lanes, Seeks: seeks, Deadline: p.pass.Job.Deadline, Places: p.places, Memory: p.memory, Meter: m,
		Want: func(f *digest.File) sums.Set { return todo[f.ID].whole() },
		Also: func(f *digest.File) io.Writer {
			t := p.begin(todo[f.ID])
			if trials[f.ID] = t; t == nil {
				return nil
			}
			return t.hasher
		},
	}
	err = r.Run(ctx, p.inOrder(ctx, todo, seeks), func(res *digest.Result) {
		p.mu.Lock()
		defer p.mu.Unlock()
		if res.Known {
			p.fromDisk.remembered++
		} else {
			p.fromDisk.read++
		}
		if p.end(todo[res.ID], trials[res.ID], res) {
			again = append(again, todo[res.ID])
		}
		trials[res.ID] = nil
	})
	return again, err
}

// inOrder yields the files as they are on a disk on which seeking costs.
func (p *prover) inOrder(ctx context.Context, todo []*proving, seeks bool) iter.Seq[digest.File] {
	order, places := make([]int, len(todo)), make([]int64, len(todo))
	for i, t := range todo {
		order[i] = i
		if !seeks {
			continue
		}
		at, err := share.Guard(ctx, p.pass.Job.Deadline, func() (int64, error) {
			at, _, err := disk.Place(filepath.Join(p.o.Source, filepath.FromSlash(t.archive.x.OnDisk(t.file))))
			return at, err
		})
		if err == nil {
			places[i] = at
		}
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(places[x], places[y]) })
	return func(yield func(digest.File) bool) {
		for _, i := range order {
			t := todo[i]
			if !yield(digest.File{Path: t.archive.x.OnDisk(t.file), Size: t.archive.x.Size(t.file), ID: i}) {
				return
			}
		}
	}
}

// begin chooses the sizes of parts that are tried while a file is read.
func (p *prover) begin(t *proving) *trial {
	if t.sum == nil {
		return nil
	}
	p.mu.Lock()
	learned := p.learner.Sizes()
	p.mu.Unlock()
	size := t.archive.x.Size(t.file)
	var sizes []int64
	t.left = false
	for _, s := range parts.Sizes(size, t.count, learned, 0) {
		switch {
		case slices.Contains(t.tried, s):
		case slices.Contains(learned, s):
			sizes = append(sizes, s)
		case len(sizes) >= sizesAtOnce || len(t.tried)+len(sizes) >= mostSizes:
			t.left = len(t.tried)+len(sizes) < mostSizes
		default:
			sizes = append(sizes, s)
		}
	}
	t.tried = append(t.tried, sizes...)
	return &trial{proving: t, sizes: sizes, hasher: parts.NewHasher(newHash(t.sum.digest.Kind), sizes)}
}

// end judges a file that was read; again says that more sizes are to be tried.
func (p *prover) end(t *proving, tr *trial, res *digest.Result) (again bool) {
	var results []parts.Result
	if tr != nil {
		results = tr.hasher.Results()
	}
	switch {
	case errors.Is(res.Err, fs.ErrNotExist):
		p.tell(t, notComparable, "the disk does not hold the file, so the object could not be proven from it")
		return false
	case res.Err != nil:
		p.tell(t, notComparable, "the file on the disk could not be read (%s), so the object could not be proven from it", checks.Plain(checks.Reason(res.Err)))
		return false
	case !res.Whole():
		p.tell(t, diskDiffers, "the file on the disk has %s bytes, or changed while it was read", checks.Count(res.Length))
		return false
	case res.Sums.SHA256 != t.known():
		p.tell(t, diskDiffers, "the SHA-256 on the disk is %x", res.Sums.SHA256)
		return false
	}
	for _, row := range t.rows {
		d := &row.digest
		sum := sumOf(&res.Sums, d.Kind)
		switch {
		case d.Parts != 0 || sum == nil:
		case d.Equal(sum):
			p.compared[d.Kind]++
			p.fit(t, byContent)
			return false
		case d.Tag: // MD5 where the manifest holds none
			p.tags.differ(t.archive, t.file, row.where)
			p.fit(t, byTag)
		default:
			p.wrong(t, "the %s in the listing is %s, that of the file is %x (%s)", d.Kind, d, sum, p.at(row.where))
			return false
		}
	}
	if tr == nil {
		return false
	}
	for _, r := range results {
		if t.sum.digest.Equal(r.Digest) {
			p.learner.Fits(r.PartSize, r.Parts)
			p.log.add(fitKey(res.Ident, t.known(), t.sum, t.count), r.PartSize)
			p.fitParts(t)
			return false
		}
	}
	if learned := p.learnedFor(t); t.untried(learned) || t.left && len(learned) == 0 {
		return true
	}
	p.misfits = append(p.misfits, t)
	return false
}

// learnedFor are the sizes that fitted other objects and that this object can have.
func (p *prover) learnedFor(t *proving) []int64 {
	size := t.archive.x.Size(t.file)
	return slices.DeleteFunc(p.learner.Sizes(), func(part int64) bool { return !parts.Possible(size, t.count, part) })
}

// untried reports whether there is a size that was not tried yet.
func (t *proving) untried(sizes []int64) bool {
	return slices.ContainsFunc(sizes, func(part int64) bool { return !slices.Contains(t.tried, part) })
}

// secondThoughts takes back those whose size was learned from another object only after they were read.
func (p *prover) secondThoughts() (again []*proving) {
	p.misfits = slices.DeleteFunc(p.misfits, func(t *proving) bool {
		back := t.untried(p.learnedFor(t))
		if back {
			again = append(again, t)
		}
		return back
	})
	return again
}

// conclude judges the files none of whose sizes of parts fits: where the sizes are known from other objects, the
// content is another; else nothing is known.
func (p *prover) conclude() {
	for _, t := range p.misfits {
		d := &t.sum.digest
		switch {
		case len(p.learnedFor(t)) > 0:
			p.wrong(t, "the %s of %s in the listing is %s; none is made of the file, with parts as the other objects have them (%s)", kindOfParts(d), checks.Plural(int64(t.count), "part"), d, p.at(t.sum.where))
		case len(t.tried) == 0:
			p.tell(t, notComparable, "the %s is one of %s, which no usual size of parts gives for %s bytes", kindOfParts(d), checks.Plural(int64(t.count), "part"), checks.Count(t.archive.x.Size(t.file)))
		default:
			p.tell(t, notComparable, "the %s is one of %s: none of the %s that were tried fits", kindOfParts(d), checks.Plural(int64(t.count), "part"), checks.Plural(int64(len(t.tried)), "plausible size"))
		}
	}
}

func kindOfParts(d *listing.Digest) string {
	if d.Tag {
		return "tag"
	}
	return "composite " + d.Kind.String()
}

// tell names a file with the reason why its object is not proven.
func (p *prover) tell(t *proving, rule *checks.Rule, format string, args ...any) {
	p.fromDisk.told++
	p.flag(t.archive, t.file, rule, "%s; only name and size were compared", fmt.Sprintf(format, args...))
}

// wrong says that an object is not its file.
func (p *prover) wrong(t *proving, format string, args ...any) {
	p.fromDisk.wrong++
	t.archive.state[t.file] = matchedBad
	p.flag(t.archive, t.file, objectChecksum, format, args...)
}
