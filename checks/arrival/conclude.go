package arrival

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// dateSlack is how much the dates of a listing may be off: those without a zone are taken as UTC.
const dateSlack = 12 * time.Hour

// kindsInOrder are the kinds in which a content can be proven, best first.
var kindsInOrder = []listing.Kind{listing.SHA256, listing.SHA1, listing.MD5, listing.CRC64NVME, listing.CRC32C, listing.CRC32}

// contradictions finds files of which two rows hold checksums that cannot both be true, where neither could be
// compared with the file.
func (a *arrival) contradictions() {
	for r, rows := range a.pendingByFile() {
		if r.state[rows[0].file] == matchedGood {
			a.contradiction(r, rows)
		}
	}
}

func (a *arrival) contradiction(r *archive, rows []*pendingSum) {
	for i, x := range rows {
		for _, y := range rows[i+1:] {
			one := listing.Row{Size: -1, Sums: []listing.Digest{x.digest}}
			two := listing.Row{Size: -1, Sums: []listing.Digest{y.digest}}
			if x.where != y.where && listing.Contradiction(&one, &two) != "" {
				r.state[x.file] = matchedTwice
				a.flag(r, int(x.file), listedTwice, "%s has the %s %s, %s has %s", a.at(x.where), x.digest.Kind, &x.digest, a.at(y.where), &y.digest)
				return
			}
		}
	}
}

// tally is how many files were proven how.
type tally struct {
	by              [proofStages]int64 // of those that are there and do not differ
	missing, differ int64
	files           int64
}

func (t *tally) content() int64 { return t.by[byContent] + t.by[byTagMD5] }

func (t *tally) sizeOnly() int64 {
	n := int64(0)
	for p := byName; p < byParts; p++ {
		n += t.by[p]
	}
	return n
}

func (a *arrival) tally() *tally {
	t := &tally{files: a.files()}
	for _, r := range a.archives {
		for i, s := range r.state {
			switch s {
			case unmatched:
				t.missing++
			case matchedGood:
				t.by[r.how[i]]++
			default:
				t.differ++
			}
		}
	}
	return t
}

// conclude writes what holds of all objects. Of a listing that is not whole nothing can be called missing.
func (a *arrival) conclude(whole bool) {
	pass := a.pass
	copies := a.countCopies()
	if whole {
		a.flagMissing(copies)
	}
	t := a.tally()
	a.unprovenFindings(t)
	a.coverFindings()
	if a.older() {
		pass.FlagJob(listingOlder, "the newest object of the archive is of %s, the manifest of %s", a.newest.UTC().Format(time.DateTime), a.archives[0].x.Header.Made.UTC().Format(time.DateTime))
	}
	a.facts(t, copies)
	files := checks.Plural(t.files, "file")
	switch {
	case !whole:
		pass.Summarize("The listing is incomplete. Of %s, %s were found so far, %s of them different.", files, checks.Count(t.files-t.missing), checks.Count(t.differ))
	case t.missing > 0 || t.differ > 0:
		pass.Summarize("%s: %s missing, %s different.%s", files, checks.Count(t.missing), checks.Count(t.differ), a.subset(t))
	case t.sizeOnly() == 0:
		pass.Summarize("Every one of %s is an object, of the right content.", files)
	case t.by[byName] > 0:
		pass.Summarize("Every one of %s has an object of its name; content was compared for %s.", files, checks.Count(t.files-t.sizeOnly()))
	case t.sizeOnly() == t.files:
		pass.Summarize("Every one of %s is an object of the right size. Only names and sizes were compared.", files)
	default:
		pass.Summarize("Every one of %s is an object of the right size; content was compared for %s.", files, checks.Count(t.files-t.sizeOnly()))
	}
}

// older reports whether all objects of the archive are dated before the manifest, which was made before the box
// travelled.
func (a *arrival) older() bool {
	return !a.newest.IsZero() && !slices.ContainsFunc(a.archives, func(r *archive) bool {
		return !a.newest.Before(r.x.Header.Made.Add(-dateSlack))
	})
}

func (a *arrival) flagMissing(c *copies) {
	for k, r := range a.archives {
		for i, s := range r.state {
			if s != unmatched {
				continue
			}
			f := checks.Finding{
				Path: r.x.Path(i), Rule: missingObject, Level: checks.Fail, Size: r.x.Size(i),
				Detail: "no object with the key " + names.Quote(r.keyOf(i)),
			}
			if c != nil {
				if twin := c.twin(k, i); twin != "" {
					f.Level = checks.Warn
					f.Detail += "; the same file is there once, as " + names.Quote(twin)
					f.Remedy = "The file is there, but not twice. If you wanted two copies, ask the store for this one, or upload it."
				}
			}
			a.pass.Add(f)
		}
	}
}

// unprovenFindings tells of objects whose content nothing was compared with.
func (a *arrival) unprovenFindings(t *tally) {
	pass := a.pass
	const only = "only name and size were compared"
	if n := t.by[byPending] - a.fromDisk.told; n > 0 {
		f := checks.Finding{
			Rule: notComparable, Level: checks.Warn,
			Detail: fmt.Sprintf("%s %s a checksum that only the disk can prove, such as one of the checksums of parts; for them %s", checks.Plural(n, "object"), have(n), only),
		}
		if a.o.Source != "" {
			f.Detail = fmt.Sprintf("%s %s a checksum of parts, but not how many; for them %s", checks.Plural(n, "object"), have(n), only)
			f.Remedy = "Ask the store for SHA-256, MD5 or CRC-32C of whole objects, or fetch these objects back and recheck them."
		}
		pass.Add(f)
	}
	if n := t.by[byForeign] + t.by[byTag]; n > 0 {
		what := "a checksum of a kind that is not known here"
		if t.by[byTag] > t.by[byForeign] {
			what = "a tag that is not the MD5 of their content"
		}
		pass.Add(checks.Finding{
			Rule: notComparable, Level: checks.Warn,
			Detail: fmt.Sprintf("%s %s %s; for them %s", checks.Plural(n, "object"), have(n), what, only),
			Remedy: "Ask the store for SHA-256, MD5 or CRC-32C of whole objects, or fetch these objects back and recheck them.",
		})
	}
	if n := t.by[bySize]; n > 0 {
		pass.FlagJob(noChecksums, "no checksum in the listing for %s of %s; for them %s", checks.Count(n), checks.Plural(t.files, "file"), only)
	}
	if n := t.by[byName]; n > 0 {
		pass.FlagJob(noChecksums, "no checksum and no size in the listing for %s of %s; for them only the name was compared", checks.Count(n), checks.Plural(t.files, "file"))
	}
}

func have(n int64) string {
	if n == 1 {
		return "has"
	}
	return "have"
}

// coverFindings tells of what the manifests do not cover.
func (a *arrival) coverFindings() {
	for _, r := range a.archives {
		h := r.x.Header
		if h.Links+h.Others+h.Clutter+h.LeftOff+h.Unread == 0 {
			continue
		}
		level := checks.Note
		if h.Links+h.Others+h.LeftOff+h.Unread > 0 {
			level = checks.Warn
		}
		off := ""
		if h.LeftOff > 0 {
			off = "; left off the copy list, it did not travel: " + checks.Plural(h.LeftOff, "file")
		}
		if h.Unread > 0 {
			off += "; not read whole, and so not in the manifest: " + checks.Plural(h.Unread, "file")
		}
		a.pass.Add(checks.Finding{
			Rule: notCovered, Level: level,
			Detail: fmt.Sprintf("the source also held %s, %s, and %s of desktop clutter left out of the copy%s", checks.Plural(h.Links, "link"), checks.Plural(h.Others, "special file"), checks.Plural(h.Clutter, "file"), off),
		})
	}
}

// skipped counts the records that are no objects.
func (a *arrival) skipped(reason listing.Reason) int64 {
	n := int64(0)
	for _, f := range a.formats {
		n += f.Skipped[reason]
	}
	return n
}

// mostShown is how many parts of a listing are described each.
const mostShown = 20

func (a *arrival) facts(t *tally, c *copies) {
	pass := a.pass
	total := int64(0)
	for _, r := range a.archives {
		total += r.x.Header.Bytes
	}
	pass.Fact("files", t.files, "Files in the manifest: %s, %s", checks.Count(t.files), checks.Bytes(total))
	pass.Fact("listed", a.rows, "Rows in the listing: %s", checks.Count(a.rows))
	pass.Fact("proven_content", t.content(), "Proven by a checksum of their content: %s", checks.Plural(t.content(), "file"))
	pass.Fact("proven_parts", t.by[byParts], "Proven by the checksums of their parts, made again from the disk: %s", checks.Plural(t.by[byParts], "file"))
	pass.Fact("size_only", t.sizeOnly(), "There, but not proven by content: %s", checks.Plural(t.sizeOnly(), "file"))
	for _, k := range kindsInOrder {
		if n := a.compared[k]; n > 0 {
			key := "compared_" + strings.ToLower(strings.NewReplacer("-", "", "/", "").Replace(k.String()))
			pass.Fact(key, n, "%s compared: %s of %s", k, checks.Count(n), checks.Plural(t.files, "file"))
		}
	}
	for i, f := range a.formats {
		if i == mostShown {
			pass.Fact("listing_more", len(a.formats)-i, "And %s more", checks.Plural(int64(len(a.formats)-i), "file"))
			break
		}
		guessed := ""
		if f.Guessed {
			guessed = ". Its columns were recognized by their content: make sure they are right"
		}
		pass.Fact(fmt.Sprintf("listing_%d", i+1), f.String(), "Read %s as %s%s", names.Quote(a.set.Parts[i].Path), f, guessed)
		if n := f.Skipped[listing.OldVersion]; n > 0 {
			pass.Fact(fmt.Sprintf("old_versions_%d", i+1), n, "Passed over: %s", checks.Plural(n, "old version"))
		}
	}
	deleted := int64(0)
	for _, f := range a.formats {
		deleted += f.Deleted
	}
	for _, s := range []struct {
		key string
		n   int64
		one string
	}{
		{"delete_marks", deleted, "mark of a deletion"},
		{"unfinished_uploads", a.skipped(listing.Upload), "part of an unfinished upload"},
		{"unreadable_keys", a.skipped(listing.Unreadable), "key whose characters are damaged"},
	} {
		if s.n > 0 {
			pass.Fact(s.key, s.n, "Not objects, passed over: %s", several(s.n, s.one))
		}
	}
	pass.Fact("reading", []string{"raw", "percent", "plus"}[a.reading], "Keys are read %s", a.reading)
	if a.reading != listing.Raw {
		pass.Fact("percent_coded", true, "The listing codes its keys with percent signs (RFC 3986)")
	}
	a.fromDisk.facts(pass)
	if c != nil {
		pass.Fact("there_never", c.never, "Files of the archive that are not there: %s", checks.Count(c.never))
		pass.Fact("there_once", c.once, "Files that are there once: %s", checks.Count(c.once))
		pass.Fact("there_twice", c.twice, "Files that are there twice or more: %s", checks.Count(c.twice))
	}
}

// several is checks.Plural for nouns whose first word takes the s.
func several(n int64, one string) string {
	noun, rest, _ := strings.Cut(one, " ")
	return checks.Plural(n, noun) + " " + rest
}

// subset says what the missing files have in common, where that looks like a listing of less than the archive.
func (a *arrival) subset(t *tally) string {
	if t.missing < 2 || t.missing == t.files {
		return ""
	}
	r := a.archives[0]
	lastFound, firstMissing := -1, -1
	var below []byte // the folder of all files that were found
	first := true
	for i, path := range r.x.All() {
		if r.state[i] == unmatched {
			if firstMissing < 0 {
				firstMissing = i
			}
			continue
		}
		lastFound = i
		dir := path[:bytes.LastIndexByte(path, '/')+1]
		if first {
			first, below = false, bytes.Clone(dir)
		}
		for !bytes.HasPrefix(dir, below) {
			below = below[:bytes.LastIndexByte(below[:len(below)-1], '/')+1]
		}
	}
	if len(below) > 0 {
		apart := true
		for i, path := range r.x.All() {
			if r.state[i] == unmatched && bytes.HasPrefix(path, below) {
				apart = false
				break
			}
		}
		if apart {
			return fmt.Sprintf(" Everything found is in %s, and nothing in that folder is missing: the listing may cover that folder only.", names.Quote(strings.TrimSuffix(string(below), "/")))
		}
	}
	if lastFound >= 0 && lastFound < firstMissing {
		return " All that is missing comes after the last file that is there: the listing may have been cut off."
	}
	return ""
}

// copies counts, of several manifests, how often each file of the archive is there: files of the same path, size
// and SHA-256 are one file.
type copies struct {
	a                  *arrival
	never, once, twice int64
}

func (a *arrival) countCopies() *copies {
	if len(a.archives) < 2 {
		return nil
	}
	c := &copies{a: a}
	for k, r := range a.archives {
		for i := range r.state {
			keys, first := map[string]bool{}, true
			c.each(k, i, func(other, file int) {
				first = first && other >= k
				if o := a.archives[other]; o.state[file] == matchedGood {
					keys[o.keyOf(file)] = true
				}
			})
			switch {
			case !first: // counted with the manifest before
			case len(keys) == 0:
				c.never++
			case len(keys) == 1:
				c.once++
			default:
				c.twice++
			}
		}
	}
	return c
}

// each passes on a file and those of the other manifests that are the same.
func (c *copies) each(k, i int, yield func(other, file int)) {
	r := c.a.archives[k]
	path := []byte(r.x.Path(i))
	var one, two manifest.Sums
	r.x.Sums(i, &one)
	for other, o := range c.a.archives {
		if other == k {
			yield(k, i)
			continue
		}
		j := o.cursor.Find(path)
		if j < 0 || o.x.Size(j) != r.x.Size(i) {
			continue
		}
		if o.x.Sums(j, &two); one.SHA256 == two.SHA256 {
			yield(other, j)
		}
	}
}

// twin is the key under which a missing file is there all the same; "" if it is not.
func (c *copies) twin(k, i int) string {
	key := ""
	c.each(k, i, func(other, file int) {
		if o := c.a.archives[other]; other != k && o.state[file] == matchedGood {
			key = cmp.Or(key, o.keyOf(file))
		}
	})
	return key
}
