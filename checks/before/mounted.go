package before

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

// ShareState is what the first check learned of the share.
type ShareState struct {
	Facts *share.Facts
	// Usable is false where nothing may be written or measured there: the share is silent, the
	// folder is not on a share at all, or it is part of the source.
	Usable bool
	Why    string // it is not usable
}

var (
	notAMount = &checks.Rule{
		ID: "not-a-mount", Level: checks.Fail,
		When:   "the folder lies on the system's own disk: nothing is mounted there",
		Fix:    "Mount the share, then choose the folder again. Copying now would fill this computer's disk and still look like success.",
		Source: "proc(5) mountinfo, statfs(2); measured",
	}
	sameDisk = &checks.Rule{
		ID: "same-disk", Level: checks.Fail,
		When:   "source and share are on one file system",
		Fix:    "Choose the mounted share: a copy on the same disk is no second copy.",
		Source: "common practice, no source",
	}
	nestedFolders = &checks.Rule{
		ID: "nested-folders", Level: checks.Fail,
		When:   "one of source and share lies in the other",
		Fix:    "Choose two folders that lie apart, or the copy would copy itself.",
		Source: "common practice, no source",
	}
	localFileSystem = &checks.Rule{
		ID: "local-file-system", Level: checks.Warn,
		When:   "something is mounted there, but not from the network",
		Fix:    "Fine for a rehearsal. For the real copy, mount the appliance's share and choose it.",
		Source: "statfs(2) f_type: NFS is 0x6969",
	}
	shareSilent = &checks.Rule{
		ID: "share-silent", Level: checks.Fail,
		When:   "the share does not answer within the deadline",
		Fix:    "Look at cable, power and network of the appliance; then check again. Nothing is lost by waiting.",
		Source: "nfs(5), option hard: a request is repeated until the server answers",
	}
)

var ShareMounted = &checks.Check{
	ID: "share-mounted", Title: "The share is mounted", Group: checks.GroupShare, NeedsShare: true,
	Doc: "Looks up which row of the mount table covers the folder that you chose, and whether the " +
		"server behind it answers. If the share is not mounted, the folder is an ordinary one on " +
		"this computer: a copy into it ends without an error, and the appliance travels empty.",
	Fix:   "Mount the share as the appliance's instructions say, then choose its folder again.",
	Rules: []*checks.Rule{notAMount, sameDisk, nestedFolders, localFileSystem, shareSilent},
	Begin: func(*checks.Pass) any { return &ShareState{} },
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		job := pass.Job
		s := pass.State.(*ShareState)
		pass.Describe(s.describe)
		facts := job.StandIn
		if facts == nil {
			var err error
			facts, err = lookAtShare(ctx, job)
			if errors.Is(err, share.ErrSilent) || errors.Is(err, share.ErrBusy) {
				s.Facts, s.Why = facts, "the share does not answer"
				pass.FlagJob(shareSilent, "no answer within %s", checks.Span(job.Deadline))
				pass.Summarize("The share does not answer. Nothing else can be learned of it until it does.")
				return nil
			}
			if errors.Is(err, checks.ErrBadJob) {
				return err
			}
			if err != nil {
				return checks.FolderError(checks.FieldShare, job.Share, err)
			}
		}
		s.Facts, s.Usable = facts, true
		nested, same, err := apart(ctx, job, facts)
		if err != nil {
			return err
		}
		m := &facts.Mount
		pass.Summarize("%s is mounted on %s and answers.", names.Quote(m.From), names.Quote(m.Point))
		switch {
		case facts.System:
			s.Usable, s.Why = false, "nothing is mounted on the folder that you chose"
			pass.FlagJob(notAMount, "%s is part of the file system mounted on %s", names.Quote(facts.Path), names.Quote(m.Point))
			pass.Summarize("Nothing is mounted on %s.", names.Quote(facts.Path))
		case !facts.Network:
			pass.FlagJob(localFileSystem, "%s is mounted on %s with file system %s", names.Quote(m.From), names.Quote(m.Point), names.Quote(m.Type))
			pass.Summarize("A local file system (%s) is mounted here, not a share.", names.Quote(m.Type))
		}
		if same {
			pass.FlagJob(sameDisk, "both are on %s", names.Quote(m.From))
		}
		if nested != "" {
			s.Usable, s.Why = false, "source and share lie in one another"
			pass.FlagJob(nestedFolders, "source %s, share %s", names.Quote(nested), names.Quote(facts.Path))
			pass.Summarize("Source and share lie in one another.")
		}
		pass.Fact("mount_point", m.Point, "Mounted on %s", names.Quote(m.Point))
		pass.Fact("from", m.From, "Comes from %s", names.Quote(m.From))
		pass.Fact("type", m.Type, "File system: %s", names.Quote(m.Type))
		if facts.Version != "" {
			pass.Fact("nfs_version", facts.Version, "NFS version %s", facts.Version)
		}
		if facts.Space.Total > 0 {
			pass.Fact("free_bytes", facts.Space.Free, "Free: %s of %s", checks.Bytes(facts.Space.Free), checks.Bytes(facts.Space.Total))
		}
		if facts.Invented != "" {
			pass.Fact("invented", facts.Invented, "Invented for the demo: %s", facts.Invented)
		}
		return nil
	},
}

// describe says in the report what is mounted.
func (s *ShareState) describe(rep *checks.Report) {
	if f := s.Facts; f != nil && rep.Share != nil {
		rep.Share.From, rep.Share.Type, rep.Share.Options = f.Mount.From, f.Mount.Type, f.Mount.Options
		rep.Share.Free, rep.Share.Total, rep.Share.NameMax = f.Space.Free, f.Space.Total, f.Space.NameLimit
		rep.Invented = f.Invented
	}
}

// lookAtShare learns where the copy will lie: on the share, or on what is mounted inside it where the
// prefix leads. The copies of several disks must lie on one file system, since one answer is given for all.
func lookAtShare(ctx context.Context, job *checks.Job) (facts *share.Facts, err error) {
	for i, d := range job.Disks() {
		f, err := lookAtPrefix(ctx, job, d.Prefix)
		if err != nil {
			return f, err
		}
		if i == 0 {
			facts = f
		} else if f.Mount.Point != facts.Mount.Point || f.Device != facts.Device {
			return f, fmt.Errorf("%w: on the share, the folders %s and %s lie on different file systems; check these disks one at a time",
				checks.ErrBadJob, names.Quote(job.Prefix), names.Quote(d.Prefix))
		}
	}
	return facts, nil
}

func lookAtPrefix(ctx context.Context, job *checks.Job, prefix string) (*share.Facts, error) {
	facts, err := share.Look(ctx, job.Share, job.Deadline)
	if err != nil || prefix == "" {
		return facts, err
	}
	inside, err := share.LookBelow(ctx, job.Share, prefix, job.Deadline)
	at := names.Quote(filepath.Join(job.Share, filepath.FromSlash(prefix)))
	switch {
	case errors.Is(err, share.ErrNotFolder), errors.Is(err, syscall.ENOTDIR):
		return inside, fmt.Errorf("%w: on the share, %s is a file or lies in one; choose the folder that holds the copy", checks.ErrBadJob, at)
	case errors.Is(err, fs.ErrPermission):
		return inside, fmt.Errorf("%w: you may not open %s on the share; run as a user who may, or change its permissions", checks.ErrBadJob, at)
	case err != nil:
		return inside, err
	}
	if inside.Mount.Point != facts.Mount.Point || inside.Device != facts.Device {
		return inside, nil
	}
	return facts, nil
}

// stillMounted returns an error where the share is no longer the one that the first check saw: what
// is written or measured then would be so on whatever lies below its mount point.
func stillMounted(ctx context.Context, pass *checks.Pass, seen *share.Facts) error {
	if pass.Job.StandIn != nil {
		return nil
	}
	now, err := lookAtShare(ctx, pass.Job)
	if err != nil {
		return err
	}
	if now.Device != seen.Device || now.Mount.Point != seen.Mount.Point || now.Mount.ID != seen.Mount.ID {
		return errors.New("the share was unmounted or mounted anew while it was checked; look at its cable and mount, then check again")
	}
	return nil
}

// apart tells which source and the share lie in one another, empty if none, and whether one is on its file
// system. Every look at the share gives up after the deadline.
func apart(ctx context.Context, job *checks.Job, facts *share.Facts) (nested string, same bool, err error) {
	type answer struct{ nested, same bool }
	for _, d := range job.Disks() {
		a, err := share.Guard(ctx, job.Deadline, func() (answer, error) {
			nested, err := share.Nested(d.Source, facts.Path)
			if err != nil {
				return answer{}, err
			}
			if facts.Invented != "" {
				return answer{nested, false}, nil // the stand-in is said to be elsewhere
			}
			same, err := share.SameFileSystem(d.Source, facts.Path)
			return answer{nested, same}, err
		})
		if err != nil {
			return "", false, err
		}
		if a.nested && nested == "" {
			nested = d.Source
		}
		same = same || a.same
	}
	return nested, same, nil
}

var (
	mountSoft = &checks.Rule{
		ID: "mount-soft", Level: checks.Fail,
		When:   "the option soft or softerr is in force",
		Fix:    "Mount again with the option hard: a soft mount gives up after a time-out and can lose what was written without a word.",
		Source: "nfs(5): a soft timeout can cause silent data corruption",
	}
	mountUDP = &checks.Rule{
		ID: "mount-udp", Level: checks.Fail,
		When:   "the share is mounted over UDP",
		Fix:    "Mount again with proto=tcp: over UDP, fragments of different packets can be joined into wrong data.",
		Source: "nfs(5), using NFS over UDP on high-speed links",
	}
	mountReadOnly = &checks.Rule{
		ID: "mount-read-only", Level: checks.Fail,
		When:   "the share is mounted read-only",
		Fix:    "Mount again with the option rw.",
		Source: "mount(8), option ro",
	}
	nfsVersion = &checks.Rule{
		ID: "nfs-version", Level: checks.Note,
		When:   "version 2 of NFS holds no file over 2 GiB (fails); version 3 keeps no extended attributes and dates only from 1970 to 2106",
		Fix:    "If the appliance offers it, mount with vers=4.2, or at least vers=3.",
		Source: "RFC 1094 (from memory), RFC 1813",
	}
	smallTransferSize = &checks.Rule{
		ID: "small-transfer-size", Level: checks.Warn,
		When:   "rsize or wsize in force is under 131,072 bytes; 1,048,576 is the most",
		Fix:    "Mount again with rsize=1048576,wsize=1048576: the server grants what it can.",
		Source: "nfs(5) rsize, wsize; the threshold is common practice, no source",
	}
	attributeCacheOff = &checks.Rule{
		ID: "attribute-cache-off", Level: checks.Warn,
		When:   "noac, sync, actimeo=0 or lookupcache=none is in force: every file costs more calls",
		Fix:    "Mount again without that option. You are the only writer.",
		Source: "nfs(5); 2.8 times the calls, measured",
	}
	shortTimeout = &checks.Rule{
		ID: "short-timeout", Level: checks.Note,
		When:   "timeo is under 600 tenths of a second over TCP (warns on a soft mount)",
		Fix:    "Mount again without timeo, or with timeo=600.",
		Source: "nfs(5): defaults timeo=600, retrans=2",
	}
	noLocks = &checks.Rule{
		ID: "no-locks", Level: checks.Note,
		When:   "locks are kept on this computer only; harmless with one writer",
		Fix:    "Nothing to do as long as this computer alone writes to the share.",
		Source: "nfs(5) nolock, local_lock",
	}
)

// The limits of the mount options.
const (
	leastTransfer = 131_072 // bytes (common practice, no source)
	usualTimeout  = 600     // tenths of a second, nfs(5)
)

var mountOptions = &checks.Check{
	ID: "mount-options", Title: "The mount options are safe for a long copy", Group: checks.GroupShare, NeedsShare: true,
	Doc: "Reads the options that are really in force, not those that were asked for: the kernel and the " +
		"server settle some of them between them. A few make a long copy slow, and a few can lose data " +
		"without an error.",
	Fix:   "Mount the share again with the options that its findings name.",
	Rules: []*checks.Rule{mountSoft, mountUDP, mountReadOnly, nfsVersion, smallTransferSize, attributeCacheOff, shortTimeout, noLocks},
	Needs: []*checks.Check{ShareMounted},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		s := checks.StateOf[ShareState](pass, ShareMounted)
		if s == nil || s.Facts == nil {
			return errors.New("nothing is known of the mount")
		}
		if s.Facts.System {
			return errors.New(s.Why + ", so there are no options to judge")
		}
		judgeOptions(pass, s.Facts)
		return nil
	},
}

func judgeOptions(pass *checks.Pass, f *share.Facts) {
	m := &f.Mount
	has := func(option string) bool { _, ok := m.Option(option); return ok }
	number := func(option string) (int, bool) {
		v, ok := m.Option(option)
		if !ok {
			return 0, false
		}
		n, err := strconv.Atoi(v)
		return n, err == nil
	}
	soft := has("soft") || has("softerr")
	if soft {
		which := "soft"
		if has("softerr") {
			which = "softerr"
		}
		pass.FlagJob(mountSoft, "%s is in force", which)
	}
	proto, _ := m.Option("proto")
	udp := proto == "udp" || proto == "udp6" || has("udp")
	if udp {
		pass.FlagJob(mountUDP, "proto=%s is in force", cmp.Or(proto, "udp"))
	}
	if slices.Contains(m.Options, "ro") {
		pass.FlagJob(mountReadOnly, "ro is in force")
	}
	switch major, _, _ := strings.Cut(f.Version, "."); major {
	case "2":
		pass.Add(checks.Finding{
			Rule: nfsVersion, Level: checks.Fail, Detail: "version 2 in force: no file over 2 GiB",
			Remedy: "Mount again with vers=4.2, or at least vers=3.",
		})
	case "3":
		pass.FlagJob(nfsVersion, "version 3 in force: no extended attributes, dates from 1970 to 2106 only")
	}
	for _, option := range []string{"rsize", "wsize"} {
		if n, ok := number(option); ok && f.NFS {
			pass.Fact(option, n, "%s in force: %s bytes; %s at most", option, checks.Count(int64(n)), checks.Count(1<<20))
			if n < leastTransfer {
				pass.FlagJob(smallTransferSize, "%s is %s bytes, at least %s are wanted", option, checks.Count(int64(n)), checks.Count(leastTransfer))
			}
		}
	}
	for _, option := range []string{"noac", "sync"} {
		if has(option) {
			pass.FlagJob(attributeCacheOff, "%s is in force", option)
		}
	}
	if zeroCache(m) {
		pass.FlagJob(attributeCacheOff, "actimeo=0 is in force")
	}
	if v, _ := m.Option("lookupcache"); v == "none" {
		pass.FlagJob(attributeCacheOff, "lookupcache=none is in force")
	}
	if n, ok := number("timeo"); ok && f.NFS && !udp && n < usualTimeout {
		level := checks.Note
		if soft {
			level = checks.Warn
		}
		pass.Add(checks.Finding{Rule: shortTimeout, Level: level, Detail: "timeo is " + strconv.Itoa(n) + " tenths of a second, the default is " + strconv.Itoa(usualTimeout)})
	}
	if v, ok := m.Option("local_lock"); has("nolock") || ok && v != "none" {
		pass.FlagJob(noLocks, "%s in force", choose(v == "", "nolock", "local_lock="+v))
	}
	if len(m.Options) > 0 {
		pass.Fact("options", m.Options, "In force: %s", names.Quote(strings.Join(m.Options, ", ")))
	}
	if !f.NFS {
		pass.Summarize("Not an NFS mount: only the options that any file system has could be judged.")
		return
	}
	hardness := "hard"
	if soft {
		hardness = "soft"
	}
	pass.Summarize("NFS version %s over %s, %s.", cmp.Or(f.Version, "unknown"), cmp.Or(proto, "an unknown protocol"), hardness)
}

// zeroCache knows the forms in which the kernel shows actimeo=0.
func zeroCache(m *share.Mount) bool {
	if v, ok := m.Option("actimeo"); ok && v == "0" {
		return true
	}
	for _, option := range []string{"acregmin", "acregmax", "acdirmin", "acdirmax"} {
		if v, ok := m.Option(option); !ok || v != "0" {
			return false
		}
	}
	return true
}
