package arrival

import (
	"cmp"
	"context"
	"slices"
	"sort"
	"strings"

	"loadline/checks"
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

type tagged struct{ file, line int }

func (c *tagTally) differ(file, line int) { c.differs = append(c.differs, tagged{file, line}) }

// tagsToJudge is from how many tags on their all differing is put down to the store (common
// practice, no source). Fewer count as different content.
const tagsToJudge = 10

func (c *tagTally) conclude(pass *checks.Pass, a *arrival) {
	if len(c.differs) == 0 {
		return
	}
	if c.equal == 0 && a.ix.count(matchedBad) == 0 && len(c.differs) >= tagsToJudge {
		a.otherSum += int64(len(c.differs))
		return
	}
	for _, d := range c.differs {
		f := a.ix.files.At(d.file)
		f.state = matchedBad
		pass.Add(checks.Finding{
			Path: string(a.ix.path(d.file)), Rule: objectChecksum, Level: checks.Fail, Size: f.size,
			Detail: "the tag in the listing is not the MD5 of the file (line " + checks.Count(int64(d.line)) + "); some stores give tags that are no MD5 where they encrypt",
		})
	}
}

// otherForms looks for objects under another normal form or case of the names that are missing.
func (a *arrival) otherForms(ctx context.Context, pass *checks.Pass) error {
	type folded struct {
		hash uint64
		file int
	}
	var missing []folded
	for i := range a.ix.files.Len() {
		if a.ix.files.At(i).state == unmatched {
			missing = append(missing, folded{a.ix.foldHash(string(a.ix.path(i))), i})
		}
	}
	slices.SortFunc(missing, func(x, y folded) int { return cmp.Or(cmp.Compare(x.hash, y.hash), x.file-y.file) })
	return a.pass(ctx, "Looking for other spellings of names", func(row *Row) error {
		i, p, counted := a.place(row)
		if i >= 0 || !counted || row.Deleted {
			return nil
		}
		fold, hash := names.Fold(p), a.ix.foldHash(p)
		at := sort.Search(len(missing), func(k int) bool { return missing[k].hash >= hash })
		best := -1
		for ; at < len(missing) && missing[at].hash == hash; at++ {
			k := missing[at].file
			name := string(a.ix.path(k))
			if a.ix.files.At(k).state != unmatched || names.Fold(name) != fold {
				continue
			}
			// Of several files that fold alike, the one of equal normal form is it.
			if best < 0 || names.NFC(name) == names.NFC(p) {
				best = k
			}
		}
		if best < 0 {
			return nil
		}
		a.compare(pass, row, best)
		a.extras--
		a.forms = append(a.forms, formed{best, row.Key})
		return nil
	})
}

// mostExtraObjects is how many extra objects are named; more are counted only. They keep nobody from
// anything, and a listing may hold a whole store of them.
const mostExtraObjects = 100_000

// keys is the Finish of its check.
func (a *arrival) keys(ctx context.Context, pass *checks.Pass) error {
	for _, f := range a.forms {
		p := string(a.ix.path(f.file))
		how := "case"
		if key, _ := a.m.path(f.key); names.NFC(key) == names.NFC(p) {
			how = "normal form"
		}
		pass.Add(checks.Finding{
			Path: p, Rule: keyFormDiffers, Level: checks.Warn, Size: a.ix.files.At(f.file).size,
			Detail: "the key is " + names.Quote(f.key) + ": another " + how,
		})
	}
	a.twoToOne(pass)
	shown, found := showHead(a.want.keyHead), showHead(a.m.keyHead)
	switch {
	case a.m.pathHead != "":
		pass.FlagJob(shiftedPrefix, "the keys begin below the folder %s", names.Quote(strings.TrimSuffix(a.m.pathHead, "/")))
	case shown != found:
		pass.FlagJob(shiftedPrefix, "the keys begin with %s, the copy was in %s", found, shown)
	}
	if a.extras > 0 {
		if err := a.nameExtras(ctx, pass); err != nil {
			return err
		}
	}
	pass.Fact("prefix", a.m.keyHead, "Keys begin with %s", found)
	if a.m.coded {
		pass.Fact("percent_coded", true, "The listing codes its keys with percent signs (RFC 3986); they were decoded")
	}
	for _, n := range []struct {
		key, text string
		n         int64
	}{
		{"outside", "Objects outside the archive, passed over", a.outside},
		{"folder_markers", "Empty objects that stand for folders, passed over", a.markers},
		{"manifests", "Manifests that travelled with the copy", a.own},
		{"repeated", "Objects that were listed again alike", a.repeated},
	} {
		if n.n > 0 {
			pass.Fact(n.key, n.n, "%s: %s", n.text, checks.Count(n.n))
		}
	}
	pass.Summarize("Keys begin with %s. %s, %s under another spelling.", found, checks.Plural(a.extras, "extra object"), checks.Plural(int64(len(a.forms)), "file"))
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
func (a *arrival) twoToOne(pass *checks.Pass) {
	missing := map[uint64][]int{}
	for i := range a.ix.files.Len() {
		if a.ix.files.At(i).state == unmatched {
			h := a.ix.foldHash(string(a.ix.path(i)))
			missing[h] = append(missing[h], i)
		}
	}
	if len(missing) == 0 {
		return
	}
	for i := range a.ix.files.Len() {
		if a.ix.files.At(i).state == unmatched {
			continue
		}
		there := string(a.ix.path(i))
		for _, k := range missing[a.ix.foldHash(there)] {
			gone := string(a.ix.path(k))
			if names.Fold(gone) == names.Fold(there) {
				pass.Add(checks.Finding{
					Path: gone, Rule: twoToOneKey, Level: checks.Fail, Size: a.ix.files.At(k).size,
					Detail: "only one object is there for this file and " + names.Quote(there),
				})
			}
		}
	}
}

// nameExtras reads the listings once more to name the objects that belong to no file.
func (a *arrival) nameExtras(ctx context.Context, pass *checks.Pass) error {
	formed := map[string]bool{}
	for _, f := range a.forms {
		formed[f.key] = true
	}
	named := int64(0)
	err := a.pass(ctx, "Naming extra objects", func(row *Row) error {
		i, p, counted := a.place(row)
		if i >= 0 || !counted || row.Deleted || formed[row.Key] {
			return nil
		}
		if named++; named <= mostExtraObjects {
			pass.Add(checks.Finding{Path: p, Rule: extraObject, Level: checks.Note, Size: max(row.Size, 0), Detail: "no file of the manifest has the key " + names.Quote(row.Key)})
		}
		return nil
	})
	if over := named - mostExtraObjects; over > 0 {
		pass.Count(&walk.Dir{}, extraObject, over)
	}
	return err
}
