package checks

import (
	"context"
	"strings"
	"sync/atomic"
	"time"

	"loadline/checks/walk"
)

var (
	extendedAttributes = &Rule{
		ID: "extended-attributes", Level: Warn,
		When:   "it has extended attributes of the user: tags, ratings, notes; none arrives",
		Fix:    "Write down what matters in a file beside it.",
		Source: "xattr(7)",
	}
	accessList = &Rule{
		ID: "access-list", Level: Warn,
		When:   "it has an access control list; it does not arrive",
		Fix:    "Note who may do what, if that matters later.",
		Source: "acl(5)",
	}
	dateOutOfRange = &Rule{
		ID: "date-out-of-range", Level: Warn,
		When:   "its date is before 1970 or after 2106-02-07T06:28:15Z, which NFS version 3 cannot hold",
		Fix:    "Set its date right, or mount with vers=4.2.",
		Source: "RFC 1813 nfstime3; measured: clamped",
	}
	futureDate = &Rule{
		ID: "future-date", Level: Note,
		When:   "its date lies more than 24 h ahead",
		Fix:    "The camera's clock was wrong; set the date right if it matters.",
		Source: "common practice, no source",
	}
)

const (
	lastDate3 = int64(1)<<32 - 1 // seconds, RFC 1813 nfstime3: 2106-02-07T06:28:15Z
	ahead     = 24 * time.Hour

	// Asking for attributes costs a call to the system for every entry. The first attributesAll
	// entries are asked all, of the rest one in attributesEvery: see Check.Doc.
	attributesAll   = 20_000
	attributesEvery = 32
)

type metadataState struct {
	asked, skipped atomic.Int64
	dates          bool // the range of NFS version 3 counts
}

var metadata = &Check{
	ID: "metadata", Title: "No attributes or access lists to lose", Group: GroupFiles,
	Doc: "Asks for extended attributes and access lists, which do not become part of an object, and looks at " +
		"dates. On a large disk, the first 20,000 entries are asked for attributes and then one in 32: each " +
		"question costs a call to the system.",
	Fix:   "Write down what matters of them in a file beside the footage.",
	Rules: []*Rule{extendedAttributes, accessList, dateOutOfRange, futureDate},
	Begin: func(t *Trial) any {
		s := &metadataState{dates: true}
		if m := StateOf[shareState](t, shareMounted); m != nil && m.facts != nil && m.facts.NFS {
			s.dates = m.facts.Version == "" || m.facts.Version[0] < '4'
		}
		return s
	},
	Visit: visitMetadata,
	Finish: func(_ context.Context, t *Trial) error {
		s := t.State.(*metadataState)
		t.Fact("asked", s.asked.Load(), "%s asked for attributes", Of(s.asked.Load(), "entry"))
		sampled := ""
		if n := s.skipped.Load(); n > 0 {
			t.Fact("not_asked", n, "%s not asked: a sample of one in %d", Of(n, "entry"), attributesEvery)
			sampled = " (a sample)"
		}
		t.Say("%s of %s%s with attributes or access lists.", Count(t.Total(extendedAttributes)+t.Total(accessList)), Of(s.asked.Load(), "entry"), sampled)
		return nil
	},
}

func visitMetadata(t *Trial, d *walk.Dir) {
	s := t.State.(*metadataState)
	future := t.Job.Now().Add(ahead).Unix()
	asked := s.asked.Load()
	n, skipped := int64(0), int64(0)
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Failed || e.Kind != walk.File && e.Kind != walk.Folder {
			continue
		}
		if e.Sec > future {
			t.Flag(d, e, futureDate, "dated %s", e.ModTime().UTC().Format("2006-01-02"))
		}
		if s.dates && (e.Sec < 0 || e.Sec > lastDate3) {
			t.Flag(d, e, dateOutOfRange, "dated %s", e.ModTime().UTC().Format(time.RFC3339))
		}
		if asked+n >= attributesAll && i%attributesEvery != 0 {
			skipped++
			continue
		}
		n++
		list, err := d.Xattrs(e.Name)
		if err != nil || len(list) == 0 {
			continue
		}
		judgeAttributes(t, d, e, list)
	}
	s.asked.Add(n)
	s.skipped.Add(skipped)
}

func judgeAttributes(t *Trial, d *walk.Dir, e *walk.Entry, list []string) {
	var user []string
	acl := false
	for _, a := range list {
		switch {
		case a == "system.posix_acl_access", a == "system.posix_acl_default":
			acl = true
		case strings.HasPrefix(a, "user."), !strings.Contains(systemNamespaces, "|"+firstPart(a)+"|"):
			user = append(user, a)
		}
	}
	if len(user) > 0 {
		t.Flag(d, e, extendedAttributes, "%s: %s", Of(int64(len(user)), "attribute"), quoteList(user, 3))
	}
	if acl {
		t.Flag(d, e, accessList, "has an access control list")
	}
}

// systemNamespaces are the classes of attributes that a system keeps for itself (xattr(7)).
const systemNamespaces = "|security|system|trusted|"

func firstPart(s string) string {
	p, _, _ := strings.Cut(s, ".")
	return p
}
