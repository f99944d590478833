package arrival

import (
	"cmp"
	"context"
	"hash/maphash"
	"slices"
	"sort"
	"strings"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// A tagTally holds back the tags that look like MD5 and differ. Where no tag of the whole listing
// agrees, the store does not use MD5 for its tags (it encrypts with a key of its own, say) and they
// tell nothing; where some agree, the others are objects with other content.
type tagTally struct {
	equal   int64
	differs []tagged
}

type tagged struct {
	archive *archive
	file    int
	where   where
}

func (c *tagTally) differ(r *archive, file int, w where) {
	c.differs = append(c.differs, tagged{r, file, w})
}

// tagsToJudge is from how many tags on their all differing is put down to the store (common
// practice, no source). Fewer count as different content.
const tagsToJudge = 10

func (c *tagTally) conclude(a *arrival) {
	if c.equal == 0 && a.count(matchedBad) == 0 && len(c.differs) >= tagsToJudge {
		return
	}
	for _, d := range c.differs {
		if d.archive.how[d.file].content() || d.archive.state[d.file] != matchedGood {
			continue
		}
		d.archive.state[d.file] = matchedBad
		a.flag(d.archive, d.file, objectChecksum, "the tag in the listing is not the MD5 of the file (%s); some stores give tags that are not the MD5 when they encrypt", a.at(d.where))
	}
}

var foldSeed = maphash.MakeSeed()

// foldHash is equal for paths that differ in normal form or case only.
func foldHash(path string) uint64 { return maphash.String(foldSeed, names.Fold(path)) }

// otherForms looks for objects under another normal form or case of the names that are missing.
func (a *arrival) otherForms(ctx context.Context) error {
	type folded struct {
		hash    uint64
		archive *archive
		file    int
	}
	var missing []folded
	for _, r := range a.archives {
		for i, path := range r.x.All() {
			if r.state[i] == unmatched {
				missing = append(missing, folded{foldHash(string(path)), r, i})
			}
		}
	}
	slices.SortFunc(missing, func(x, y folded) int { return cmp.Or(cmp.Compare(x.hash, y.hash), x.file-y.file) })
	return a.read(ctx, "Looking for other spellings of names", func(part int, row *listing.Row) error {
		if row.Deleted {
			return nil
		}
		p, found, counted := a.fileOf(row.Key, func(*archive, int) {})
		if found || !counted {
			return nil
		}
		path := string(p)
		fold, hash := names.Fold(path), foldHash(path)
		at := sort.Search(len(missing), func(k int) bool { return missing[k].hash >= hash })
		best := -1
		for ; at < len(missing) && missing[at].hash == hash; at++ {
			k := &missing[at]
			name := k.archive.x.Path(k.file)
			if k.archive.state[k.file] != unmatched || names.Fold(name) != fold {
				continue
			}
			// Of several files that fold alike, the one of equal normal form is it.
			if best < 0 || names.NFC(name) == names.NFC(path) {
				best = at
			}
		}
		if best < 0 {
			return nil
		}
		k := &missing[best]
		a.compare(k.archive, k.file, row, where{int32(part), row.At})
		a.extras--
		a.forms = append(a.forms, formed{k.archive, k.file, string(row.Key)})
		return nil
	})
}

// mostExtraObjects is how many extra objects are named; more are counted only. They keep nobody from
// anything, and a listing may hold a whole store of them.
const mostExtraObjects = 100_000

// keys is the Finish of its check.
func (a *arrival) keys(_ context.Context, pass *checks.Pass) error {
	for _, f := range a.forms {
		p := f.archive.x.Path(f.file)
		how := "case"
		if key, _ := f.archive.m.path(a.reading.Decode([]byte(f.key))); names.NFC(string(key)) == names.NFC(p) {
			how = "normal form"
		}
		pass.Add(checks.Finding{
			Path: p, Rule: keyFormDiffers, Level: checks.Warn, Size: f.archive.x.Size(f.file),
			Detail: "the key is " + names.Quote(f.key) + ": another " + how,
		})
	}
	for _, r := range a.archives {
		r.twoToOne(pass)
		shown, found, of := showHead(r.want.keyHead), showHead(r.m.keyHead), ""
		if len(a.archives) > 1 {
			of = "of " + names.Quote(r.file) + ", "
		}
		switch {
		case r.m.pathHead != "":
			pass.FlagJob(shiftedPrefix, "%sthe keys begin below the folder %s", of, names.Quote(strings.TrimSuffix(r.m.pathHead, "/")))
		case shown != found && r.count(unmatched) < int64(r.x.Len()):
			pass.FlagJob(shiftedPrefix, "%sthe keys begin with %s, the copy was in %s", of, found, shown)
		}
	}
	a.nameExtras(pass)
	first := a.archives[0]
	pass.Fact("prefix", first.m.keyHead, "Keys begin with %s", showHead(first.m.keyHead))
	for _, n := range []struct {
		key, text string
		n         int64
	}{
		{"outside", "Objects outside the archive, passed over", a.outside},
		{"folder_markers", "Objects that stand for folders, passed over", a.markers + a.skipped(listing.Folder)},
		{"manifests", "Manifests that travelled with the copy", a.own},
		{"repeated", "Objects that were listed again alike", a.repeated},
	} {
		if n.n > 0 {
			pass.Fact(n.key, n.n, "%s: %s", n.text, checks.Count(n.n))
		}
	}
	pass.Summarize("Keys begin with %s. %s, %s under another spelling.", showHead(first.m.keyHead), checks.Plural(a.extras, "extra object"), checks.Plural(int64(len(a.forms)), "file"))
	return nil
}

// showHead shows the head of keys; "./" and "/" are how lists of files write none.
func showHead(head string) string {
	if head == "" || head == "./" || head == "/" {
		return "no folder"
	}
	return names.Quote(head)
}

// twoToOne finds the missing files whose name differs from that of a file that is there in form only.
func (r *archive) twoToOne(pass *checks.Pass) {
	missing := map[uint64][]int{}
	for i, path := range r.x.All() {
		if r.state[i] == unmatched {
			h := foldHash(string(path))
			missing[h] = append(missing[h], i)
		}
	}
	if len(missing) == 0 {
		return
	}
	for i, path := range r.x.All() {
		if r.state[i] == unmatched {
			continue
		}
		there := string(path)
		for _, k := range missing[foldHash(there)] {
			gone := r.x.Path(k)
			if names.Fold(gone) == names.Fold(there) {
				pass.Add(checks.Finding{
					Path: gone, Rule: twoToOneKey, Level: checks.Fail, Size: r.x.Size(k),
					Detail: "only one object is there for this file and " + names.Quote(there),
				})
			}
		}
	}
}

// nameExtras names the objects that belong to no file.
func (a *arrival) nameExtras(pass *checks.Pass) {
	formed := map[string]bool{}
	for _, f := range a.forms {
		formed[f.key] = true
	}
	named := int64(0)
	for _, e := range a.named {
		if !formed[e.key] {
			named++
			pass.Add(checks.Finding{Path: e.path, Rule: extraObject, Level: checks.Note, Size: e.size, Detail: "no file of the manifest has the key " + names.Quote(e.key)})
		}
	}
	pass.Count(&walk.Dir{}, extraObject, max(a.extras-named, 0))
}
