package before

import (
	"context"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/walk"
)

var (
	extendedAttributes = &checks.Rule{
		ID: "extended-attributes", Level: checks.Warn,
		When:   "it has extended attributes of the user: tags, ratings, notes; they do not arrive",
		Fix:    "Write down what matters in a file beside it.",
		Source: "xattr(7); what a Mac puts on files by itself is counted only",
	}
	accessList = &checks.Rule{
		ID: "access-list", Level: checks.Warn,
		When:   "it has an access control list; it does not arrive",
		Fix:    "Write down who may do what, if that matters later.",
		Source: "acl(5); getattrlist(2) of macOS, ATTR_CMN_EXTENDED_SECURITY",
	}
	dateOutOfRange = &checks.Rule{
		ID: "date-out-of-range", Level: checks.Warn,
		When:   "its date is before 1970 or after 2106-02-07T06:28:15Z, which NFS version 3 cannot store",
		Fix:    "Correct its date, or mount with NFS version 4 if the appliance offers it.",
		Source: "RFC 1813 nfstime3; measured: clamped",
	}
	attributesSampled = &checks.Rule{
		ID: "attributes-sampled", Level: checks.Note,
		When:   "the disk is large, so only a sample was checked for attributes, and whole folders wherever one had some",
		Fix:    "Run the command with -attributes to check every file, if attributes matter to you.",
		Source: "measured: checking each one doubles the time of the walk",
	}
	doublesToCome = &checks.Rule{
		ID: "apple-double-to-come", Level: checks.Note,
		When:   "this Mac will keep attributes on the share as files named ._NAME, if the copy command keeps attributes: each becomes an object",
		Fix:    "Tell your copy command to leave attributes out, or accept them: their space and time are counted.",
		Source: "bsd/vfs/vfs_xattr.c of xnu: what a file system cannot keep goes to a ._ file",
	}
	futureDate = &checks.Rule{
		ID: "future-date", Level: checks.Note,
		When:   "its date is more than 24 h ahead",
		Fix:    "The camera's clock was wrong; correct the date if it matters.",
		Source: "common practice, no source",
	}
)

const (
	lastDate3 = int64(1)<<32 - 1 // seconds, RFC 1813 nfstime3: 2106-02-07T06:28:15Z
	ahead     = 24 * time.Hour
)

// Asking a file for attributes costs about as much as everything else that is done with it. So a
// sample of each folder is asked, the whole folder where one of the sample has some (what sets
// attributes sets them on many), and on a disk of no more than attributesAll entries the rest
// afterwards. Nothing of this depends on which worker comes first.
const (
	sampleFirst   = 3  // entries of each folder
	sampleEvery   = 32 // and one in so many of the others
	attributesAll = 20_000
)

type metadataState struct {
	asked    atomic.Int64
	left     atomic.Int64 // entries not asked
	dates    bool         // the range of NFS version 3 counts
	ofSystem atomic.Int64 // entries with attributes of a system only
	doubles  doubles

	rest [][]restEntry // not asked, by worker; none are kept once they are more than attributesAll

	restOnce sync.Once
	restErr  error
}

// unasked is how many entries nobody will ask.
func (s *metadataState) unasked() int64 {
	if left := s.left.Load(); left > attributesAll {
		return left
	}
	return 0
}

// askRest asks the entries that the walk left out, where they are few enough. It does so once: whoever needs to know
// first has it done.
func (s *metadataState) askRest(ctx context.Context, pass *checks.Pass) error {
	s.restOnce.Do(func() {
		if s.unasked() > 0 {
			return
		}
		for _, e := range slices.Concat(s.rest...) {
			if s.restErr = ctx.Err(); s.restErr != nil {
				return
			}
			list, err := walk.Xattrs(pass.Job.Disk(e.source).Source, e.path)
			if err != nil {
				continue
			}
			for _, f := range s.judge(pass, e.source, e.path, list, e.double) {
				f.Source, f.Path, f.Size = e.source, e.path, e.size
				pass.Add(f)
			}
		}
		s.asked.Add(s.left.Load())
	})
	return s.restErr
}

// restEntry is what a finding needs of an entry that was not asked yet.
type restEntry struct {
	source int
	path   string
	size   int64
	double bool // its ._ file is beside it already
}

var metadata = &checks.Check{
	ID: "metadata", Title: "No attributes or access lists to lose", Group: checks.GroupFiles,
	Doc: "Checks files and folders for extended attributes and access lists, which do not become part of an " +
		"object, and looks at dates. On a disk with over 20,000 entries it checks a sample, and every entry of " +
		"a folder where one of the sample has some: each one costs a system call.",
	Fix:   "Write down what matters of them in a file beside the footage.",
	Rules: []*checks.Rule{extendedAttributes, accessList, dateOutOfRange, attributesSampled, doublesToCome, futureDate},
	Begin: func(pass *checks.Pass) any {
		s := &metadataState{dates: true, rest: make([][]restEntry, pass.Workers())}
		if m := checks.StateOf[shareState](pass, ShareMounted); m != nil && m.Facts != nil {
			s.dates = m.Facts.NFS && (m.Facts.Version == "" || m.Facts.Version[0] < '4')
			s.doubles.wanted = writesDoubles(m.Facts)
		}
		return s
	},
	Visit: visitMetadata,
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		s := pass.State.(*metadataState)
		if err := s.askRest(ctx, pass); err != nil {
			return err
		}
		left := s.unasked()
		asked, sample := s.asked.Load(), ""
		pass.Fact("asked", asked, "%s checked for attributes", checks.Plural(asked, "entry"))
		if left > 0 {
			pass.Fact("not_asked", left, "%s not checked", checks.Plural(left, "entry"))
			pass.FlagJob(attributesSampled, "%s of %s were checked", checks.Count(asked), checks.Plural(asked+left, "entry"))
			sample = ", a sample of " + checks.Count(asked+left) + ","
		}
		if n := s.ofSystem.Load(); n > 0 {
			pass.Fact("system_attributes", n, "%s with attributes that a system puts there by itself only", checks.Plural(n, "entry"))
		}
		if d, err := s.foretell(ctx, pass); err != nil {
			return err
		} else if d.Files > 0 {
			pass.FlagJob(doublesToCome, "%s, %s", checks.Plural(d.Files, "file"), checks.Bytes(d.Bytes))
		}
		pass.Summarize("%s of %s%s with attributes or access lists.", checks.Count(pass.Total(extendedAttributes)+pass.Total(accessList)), checks.Plural(asked, "entry"), sample)
		return nil
	},
}

func visitMetadata(pass *checks.Pass, d *walk.Dir) {
	s := pass.State.(*metadataState)
	future := pass.Job.Now().Add(ahead).Unix()
	asked, left := int64(0), int64(0)
	found := pass.Job.AllAttributes
	for i := range d.Entries {
		e := &d.Entries[i]
		if !mayHaveAttributes(e) {
			continue
		}
		if e.Sec > future {
			pass.Flag(d, e, futureDate, "dated %s", e.ModTime().UTC().Format("2006-01-02"))
		}
		if s.dates && (e.Sec < 0 || e.Sec > lastDate3) {
			pass.Flag(d, e, dateOutOfRange, "dated %s", e.ModTime().UTC().Format(time.RFC3339))
		}
		if inSample(i) {
			asked++
			found = s.ask(pass, d, e) || found
		}
	}
	before, rest := s.left.Load(), s.rest[d.Worker]
	if before > attributesAll {
		rest = nil
	}
	for i := range d.Entries {
		e := &d.Entries[i]
		switch {
		case inSample(i) || !mayHaveAttributes(e):
		case found:
			asked++
			s.ask(pass, d, e)
		default:
			left++
			if before+left <= attributesAll {
				rest = append(rest, s.later(d, e))
			}
		}
	}
	s.rest[d.Worker] = rest
	s.asked.Add(asked)
	s.left.Add(left)
}

func mayHaveAttributes(e *walk.Entry) bool {
	return !e.Failed && (e.Kind == walk.File || e.Kind == walk.Folder)
}

// later returns what is needed to ask an entry after the walk.
func (s *metadataState) later(d *walk.Dir, e *walk.Entry) restEntry {
	r := restEntry{source: d.Source, path: d.Join(e.Name), double: s.doubles.wanted && hasDouble(d, e.Name)}
	if e.Kind == walk.File {
		r.size = e.Size
	}
	return r
}

func inSample(i int) bool { return i < sampleFirst || i%sampleEvery == 0 }

// hasDouble reports whether the ._ file of an entry is beside it: it is counted as what it is.
func hasDouble(d *walk.Dir, name string) bool {
	return slices.ContainsFunc(d.Entries, func(e walk.Entry) bool { return e.Name == "._"+name })
}

// ask flags what attributes an entry has and reports whether it has some that count.
func (s *metadataState) ask(pass *checks.Pass, d *walk.Dir, e *walk.Entry) bool {
	list, err := d.Xattrs(e.Name)
	if err != nil || len(list) == 0 {
		return false
	}
	findings := s.judge(pass, d.Source, d.Join(e.Name), list, s.doubles.wanted && hasDouble(d, e.Name))
	for _, f := range findings {
		pass.Flag(d, e, f.Rule, "%s", f.Detail)
	}
	return len(findings) > 0
}

// judge tells what a list of attributes breaks, without a place, and counts what it means for the share.
func (s *metadataState) judge(pass *checks.Pass, source int, path string, list []string, double bool) (found []checks.Finding) {
	var user []string
	acl, system := false, false
	for _, a := range list {
		switch classify(a) {
		case ofAccess:
			acl = true
		case ofTheUser:
			user = append(user, a)
		case ofASystem:
			system = true
		}
	}
	if len(user) > 0 {
		found = append(found, checks.Finding{Rule: extendedAttributes, Level: extendedAttributes.Level, Detail: checks.Plural(int64(len(user)), "attribute") + ": " + checks.QuoteList(user)})
	} else if system {
		s.ofSystem.Add(1)
	}
	if acl {
		found = append(found, checks.Finding{Rule: accessList, Level: accessList.Level, Detail: "has an access control list"})
	}
	if !double {
		s.doubles.add(pass.Job.Disk(source).Source, path, list)
	}
	return found
}
