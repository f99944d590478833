package arrival

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// proofWords says how the files were proven, what is missing, and what is known of a second copy.
func (a *arrival) proofWords(rep *checks.Report) []string {
	if a.formats == nil || rep.Interrupted {
		return nil
	}
	t := a.tally()
	var how []string
	for _, h := range []struct {
		n    int64
		text string
	}{
		{t.content(), "by a checksum of the content"},
		{t.by[byParts], "by the checksums of parts, made again from the disk"},
		{t.sizeOnly() - t.by[byName], "by size only"},
		{t.by[byName], "by name only"},
		{t.missing + t.differ, "not at all"},
	} {
		if h.n > 0 {
			how = append(how, checks.Count(h.n)+" "+h.text)
		}
	}
	words := []string{fmt.Sprintf("How %s proven: %s.", was(t.files), strings.Join(how, ", "))}
	if n := t.sizeOnly(); n > 0 && t.missing+t.differ == 0 {
		words = append(words, a.missingProof(t, n))
	}
	if t.missing+t.differ == 0 {
		words = append(words, a.secondCopy())
	}
	return words
}

func was(n int64) string {
	if n == 1 {
		return "the file was"
	}
	return "the " + checks.Count(n) + " files were"
}

// missingProof says what is needed to prove the content of the rest.
func (a *arrival) missingProof(t *tally, n int64) string {
	ways := []string{}
	if t.by[byPending] > 0 && a.o.Source == "" {
		ways = append(ways, "check again with the disk (-source FOLDER), which proves objects in parts")
	}
	ways = append(ways,
		"ask the store for a listing with a checksum of whole objects (SHA-256, MD5 or a CRC)",
		"fetch the files back and recheck them (loadline-cli recheck MANIFEST FOLDER)")
	return fmt.Sprintf("To erase the disk, the content of %s is still to be proven. Ways: %s.", checks.Plural(n, "file"), strings.Join(ways, "; "))
}

// secondCopy names the copy that was rechecked last, or says that there may be none.
func (a *arrival) secondCopy() string {
	const none = "Loadline knows of no second copy: with the disk erased, the store would hold the only one. " +
		"Recheck another copy first (loadline-cli recheck MANIFEST FOLDER)."
	if len(a.archives) > 1 {
		return a.secondCopies()
	}
	r, ok := a.archives[0].rechecked(a.o)
	if !ok {
		return none
	}
	return secondWords(r)
}

func secondWords(r manifest.Rechecked) string {
	how := "every byte of it"
	if !r.Whole() {
		how = fmt.Sprintf("%s of its %s, chosen at random,", checks.Count(r.Files), checks.Plural(r.Of, "file"))
	}
	verb := "was"
	if !r.Whole() {
		verb = "were"
	}
	return fmt.Sprintf("A second copy: %s in %s %s compared with this manifest on %s, and good.", how, names.Quote(r.Folder), verb, r.When.Format("2 January 2006 15:04"))
}

// secondCopies is secondCopy for several manifests.
func (a *arrival) secondCopies() string {
	var parts []string
	for _, r := range a.archives {
		if s, ok := r.rechecked(a.o); ok {
			parts = append(parts, names.Quote(r.file)+" in "+names.Quote(s.Folder)+" on "+s.When.Format(time.DateOnly))
		}
	}
	switch len(parts) {
	case 0:
		return "Loadline knows of no further copy on disks: with the disk erased, the store would hold the only one. Recheck another copy first (loadline-cli recheck MANIFEST FOLDER)."
	case len(a.archives):
		return "Second copies were rechecked: " + strings.Join(parts, ", ") + "."
	}
	return "Second copies were rechecked of a part only: " + strings.Join(parts, ", ") + ". Of the rest the store would hold the only copy."
}

// rechecked returns the best copy that was rechecked: the newest that was read whole, else the newest. The disk
// that is to be erased is none.
func (r *archive) rechecked(o *Options) (best manifest.Rechecked, ok bool) {
	source := r.x.Header.Source
	id := ""
	if o.Source != "" {
		id, _ = disk.DiskID(o.Source) // unknown: told by its path
	}
	for _, c := range manifest.Recalled(o.State, r.x.Seal) {
		if filepath.Clean(c.Folder) == filepath.Clean(source) || o.Source != "" && filepath.Clean(c.Folder) == filepath.Clean(o.Source) || id != "" && c.Disk == id {
			continue
		}
		if !ok || c.Whole() || !best.Whole() {
			best, ok = c, true
		}
	}
	return best, ok
}
