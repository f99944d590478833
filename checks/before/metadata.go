package before

import (
	"context"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/share"
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

// What an attribute says, and so what is lost with it.
type attributeClass uint8

const (
	ofTheUser  attributeClass = iota // somebody's tags, ratings, notes, or content
	ofASystem                        // put there by a system for itself
	ofAccess                         // an access list
	ofTheClass                       // kept by the kernel and shown to nobody else
)

// systemAttributes are attributes of macOS that it puts on files by itself, without the flags that may follow a "#":
// what they say is of that Mac, not of the footage. Names as seen in listings of macOS 10.15 to 15 (common practice, no
// source); decmpfs: bsd/sys/decmpfs.h of xnu.
var systemAttributes = map[string]bool{
	"com.apple.quarantine":                            true,
	"com.apple.provenance":                            true,
	"com.apple.macl":                                  true,
	"com.apple.lastuseddate":                          true,
	"com.apple.metadata:kMDItemWhereFroms":            true,
	"com.apple.metadata:kMDItemDownloadedDate":        true,
	"com.apple.TextEncoding":                          true,
	"com.apple.decmpfs":                               true,
	"com.apple.diskimages.recentcksum":                true,
	"com.apple.diskimages.fsck":                       true,
	"com.apple.rootless":                              true,
	"com.apple.genstore.origin":                       true,
	"com.apple.genstore.info":                         true,
	"com.apple.metadata:com_apple_backup_excludeItem": true,
}

// classify tells what an attribute says by its name. A disk of a Mac that Linux has mounted shows its attributes
// behind "osx." (kernel documentation, hfsplus); what Linux itself took over from a Mac stands behind "user.".
func classify(name string) attributeClass {
	if name == "system.posix_acl_access" || name == "system.posix_acl_default" {
		return ofAccess // acl(5)
	}
	class, rest, dotted := strings.Cut(name, ".")
	if dotted && (class == "security" || class == "system" || class == "trusted") {
		return ofTheClass // xattr(7)
	}
	if class == "osx" || class == "user" {
		name = rest
	}
	name, _, _ = strings.Cut(name, "#")
	switch {
	case name == walk.AccessList:
		return ofAccess
	case systemAttributes[name], strings.HasPrefix(name, "com.apple.system."), strings.HasPrefix(name, "com.apple.cs."):
		return ofASystem
	}
	return ofTheUser
}

// An attribute is one extended attribute with the length of its value, bytes.
type attribute struct {
	name string
	size int64
}

// The resource fork and the Finder's own information have places of their own in an AppleDouble file.
const (
	resourceFork = "com.apple.ResourceFork"
	finderInfo   = "com.apple.FinderInfo"
)

// appleDoubleSize is how long the ._ file is in which a Mac keeps attributes on a file system that has none (bsd/vfs/vfs_xattr.c of
// xnu 11417.101.15: 4,096 bytes that hold a header of 120 and an empty resource fork of 286; attributes take what is
// between, and more in steps of 4,096; a resource fork stands behind).
func appleDoubleSize(list []attribute) int64 {
	const page, header, emptyFork = 4096, 120, 286
	need, fork := int64(0), int64(emptyFork)
	for _, a := range list {
		switch a.name {
		case resourceFork:
			fork = max(fork, a.size)
		case finderInfo:
		default:
			// ATTR_ENTRY_LENGTH: 11 bytes and the name with its NUL, rounded up to four
			need += (11+int64(len(a.name))+1+3)&^3 + a.size
		}
	}
	size := int64(page - emptyFork)
	if over := need - (size - header); over > 0 {
		size += (over + page - 1) / page * page
	}
	return size + fork
}

// AppleDoubles are the ._ files that a Mac will write on the share for what the files of the source have of attributes,
// if the copy command keeps them.
type AppleDoubles struct {
	Files int64
	Bytes int64
}

// doubles counts them while the source is walked.
type doubles struct {
	wanted bool // the copy is made on a Mac, to a share that keeps no attributes
	files  atomic.Int64
	bytes  atomic.Int64
}

// writesDoubles reports whether a Mac keeps attributes in ._ files there: on NFS always, but on version 4 with named
// attributes (mount_nfs(8) of macOS, namedattr; bsd/vfs/vfs_xattr.c of xnu).
func writesDoubles(f *share.Facts) bool {
	return f.On() == share.MacOS && f.NFS && !(options{&f.Mount}).has("namedattr")
}

// add counts the ._ file of one entry. root and path tell where its attributes are.
func (s *doubles) add(root, path string, list []string) {
	if !s.wanted {
		return
	}
	var attrs []attribute
	for _, name := range list {
		switch classify(name) {
		case ofAccess, ofTheClass:
		case ofASystem: // some ten bytes
			attrs = append(attrs, attribute{name, 64})
		default:
			attrs = append(attrs, attribute{strings.TrimPrefix(name, "osx."), walk.XattrSize(root+"/"+path, name)})
		}
	}
	if len(attrs) > 0 {
		s.files.Add(1)
		s.bytes.Add(appleDoubleSize(attrs))
	}
}

// foretold is what a Mac will write, for the checks of space and load.
func foretold(ctx context.Context, pass *checks.Pass) (AppleDoubles, error) {
	if m := pass.Earlier(metadata); m != nil {
		if s, ok := m.State.(*metadataState); ok {
			return s.foretell(ctx, m)
		}
	}
	return AppleDoubles{}, nil
}

// foretell reckons from those of the source's entries that were asked. Of a disk of which only a sample was asked the
// others are taken to be like it.
func (s *metadataState) foretell(ctx context.Context, pass *checks.Pass) (AppleDoubles, error) {
	if !s.doubles.wanted {
		return AppleDoubles{}, nil
	}
	if err := s.askRest(ctx, pass); err != nil {
		return AppleDoubles{}, err
	}
	d := AppleDoubles{s.doubles.files.Load(), s.doubles.bytes.Load()}
	if asked, left := s.asked.Load(), s.unasked(); left > 0 && asked > 0 {
		more := 1 + float64(left)/float64(asked)
		d.Files, d.Bytes = int64(float64(d.Files)*more), int64(float64(d.Bytes)*more)
	}
	return d, nil
}
