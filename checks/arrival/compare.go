package arrival

import (
	"context"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/manifest"
)

// compareAll reads the listings once more and compares every row with its file.
func (a *arrival) compareAll(ctx context.Context, whole bool) error {
	err := a.read(ctx, "Comparing the objects", func(part int, row *listing.Row) error {
		w := where{int32(part), row.At}
		p, found, counted := a.place(row.Key, func(r *archive, i int) {
			if !row.Deleted {
				a.compare(r, i, row, w)
				return
			}
			if r.deleted == nil {
				r.deleted = map[int]where{}
			}
			r.deleted[i] = w
		})
		switch {
		case found || row.Deleted:
		case counted:
			if a.extras++; a.extras <= mostExtraObjects {
				a.named = append(a.named, extra{string(row.Key), string(p), max(row.Size, 0)})
			}
		case len(p) == 0 || p[len(p)-1] == '/':
			a.markers++ // stores show a folder by an empty object (common practice, no source)
		case manifest.IsName(path.Base(string(p))):
			a.own++
		default:
			a.outside++
		}
		return nil
	})
	if err != nil {
		return err
	}
	if a.extras > 0 && a.count(unmatched) > 0 {
		if err := a.otherForms(ctx); err != nil {
			return err
		}
	}
	if a.count(unmatched) == a.files() {
		if a.o.HasPrefix {
			return &listing.Error{
				Err:  fmt.Errorf("none of its keys, with %s taken off, names a file of the manifest: it is the listing of another archive, or the keys begin differently", showHead(a.archives[0].m.keyHead)),
				Hint: "leave the prefix out, and Loadline looks for it",
			}
		}
		return a.anotherArchive()
	}
	for _, r := range a.archives {
		for _, i := range slices.Sorted(maps.Keys(r.deleted)) {
			if r.state[i] != unmatched && r.state[i] != matchedTwice {
				a.flag(r, i, listedTwice, "%s says that it was deleted", a.at(r.deleted[i]))
				r.state[i] = matchedTwice
			}
		}
	}
	return nil
}

// flag records a finding about one file.
func (a *arrival) flag(r *archive, i int, rule *checks.Rule, format string, args ...any) {
	a.pass.Add(checks.Finding{Path: r.x.Path(i), Rule: rule, Level: rule.Level, Size: r.x.Size(i), Detail: fmt.Sprintf(format, args...)})
}

// keyOf is the key that a file should have.
func (r *archive) keyOf(i int) string {
	return r.m.keyHead + strings.TrimPrefix(r.x.Path(i), r.m.pathHead)
}

// compare judges one object against its file.
func (a *arrival) compare(r *archive, i int, row *listing.Row, w where) {
	size := r.x.Size(i)
	r.x.Sums(i, &a.known)
	if !a.keep.SHA256 {
		a.known.SHA256 = [32]byte{}
	}
	v := &a.verdict
	v.judge(row, size, &a.known)
	proven := v.proof()
	before := r.state[i]
	if before != unmatched {
		// An object may be listed twice, in two files or as two versions; then the two must agree.
		one, two := min(r.how[i], proven), max(r.how[i], proven)
		switch {
		case before == matchedTwice || before == matchedBad && v.bad():
			return
		case before == matchedBad || v.bad() || one == byTag && two == byTagMD5:
			r.state[i] = matchedTwice
			a.flag(r, i, listedTwice, "listed again in %s, with different values", a.at(w))
			return
		}
		a.repeated++
	} else {
		r.state[i] = matchedGood
	}
	if row.Modified.After(a.newest) {
		a.newest = row.Modified
	}
	if v.sizeDiffers {
		r.state[i] = matchedBad
		a.flag(r, i, objectSize, "the object has %s bytes, the file has %s (%s)", checks.Count(row.Size), checks.Count(size), a.at(w))
	}
	for _, d := range v.differs {
		r.state[i] = matchedBad
		a.flag(r, i, objectChecksum, "the %s in the listing is %s, the file has %x (%s)", d.Kind, d, sumOf(&a.known, d.Kind), a.at(w))
	}
	if r.state[i] == matchedBad {
		return
	}
	if !r.how[i].content() {
		for _, k := range v.equal {
			a.compared[k]++
		}
	}
	switch {
	case proven == byTag:
		a.tags.differ(r, i, w)
	case v.tagEqual:
		a.tags.equal++
	}
	r.how[i] = max(r.how[i], proven)
	if !r.how[i].content() {
		for _, d := range v.pending {
			a.pending.Add(pendingSum{digest: *d, archive: int32(slices.Index(a.archives, r)), file: int32(i), where: w})
		}
	}
}
