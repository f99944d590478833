package checks

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"loadline/checks/names"
	"loadline/checks/share"
)

// shareState is what the first check learned of the share.
type shareState struct {
	facts *share.Facts
	// usable is false where nothing may be written or measured there: the share is silent, the
	// folder is not on a share at all, or it is part of the source.
	usable bool
	why    string // it is not usable
}

var (
	notAMount = &Rule{
		ID: "not-a-mount", Level: Fail,
		When:   "the folder lies on the system's own disk: nothing is mounted there",
		Fix:    "Mount the share, then choose the folder again. Copying now would fill this computer's disk and still look like success.",
		Source: "proc(5) mountinfo, statfs(2); measured",
	}
	sameDisk = &Rule{
		ID: "same-disk", Level: Fail,
		When:   "source and share are on one file system",
		Fix:    "Choose the mounted share: a copy on the same disk is no second copy.",
		Source: "common practice, no source",
	}
	nestedFolders = &Rule{
		ID: "nested-folders", Level: Fail,
		When:   "one of source and share lies in the other",
		Fix:    "Choose two folders that lie apart, or the copy would copy itself.",
		Source: "common practice, no source",
	}
	localFileSystem = &Rule{
		ID: "local-file-system", Level: Warn,
		When:   "something is mounted there, but not from the network",
		Fix:    "Fine for a rehearsal. For the real copy, mount the appliance's share and choose it.",
		Source: "statfs(2) f_type: NFS is 0x6969",
	}
	shareSilent = &Rule{
		ID: "share-silent", Level: Fail,
		When:   "the share does not answer within the deadline",
		Fix:    "Look at cable, power and network of the appliance; then check again. Nothing is lost by waiting.",
		Source: "nfs(5), option hard: a request is repeated until the server answers",
	}
)

var shareMounted = &Check{
	ID: "share-mounted", Title: "The share is mounted", Group: GroupShare, NeedsShare: true,
	Doc: "Looks up which row of the mount table covers the folder that you chose, and whether the " +
		"server behind it answers. If the share is not mounted, the folder is an ordinary one on " +
		"this computer: a copy into it ends without an error, and the appliance travels empty.",
	Fix:   "Mount the share as the appliance's instructions say, then choose its folder again.",
	Rules: []*Rule{notAMount, sameDisk, nestedFolders, localFileSystem, shareSilent},
	Begin: func(*Pass) any { return &shareState{} },
	Finish: func(ctx context.Context, pass *Pass) error {
		job := pass.Job
		s := pass.State.(*shareState)
		facts := job.StandIn
		if facts == nil {
			var err error
			facts, err = lookAtShare(ctx, job)
			if errors.Is(err, share.ErrSilent) || errors.Is(err, share.ErrBusy) {
				s.facts, s.why = facts, "the share does not answer"
				pass.FlagJob(shareSilent, "no answer within %s", Span(job.Deadline))
				pass.Summarize("The share does not answer. Nothing else can be learned of it until it does.")
				return nil
			}
			if errors.Is(err, ErrBadJob) {
				return err
			}
			if err != nil {
				return noFolder("share", job.Share, err)
			}
		}
		s.facts, s.usable = facts, true
		nested, same, err := apart(ctx, job, facts)
		if err != nil {
			return err
		}
		m := &facts.Mount
		pass.Summarize("%s is mounted on %s and answers.", names.Quote(m.From), names.Quote(m.Point))
		switch {
		case facts.System:
			s.usable, s.why = false, "nothing is mounted on the folder that you chose"
			pass.FlagJob(notAMount, "%s is part of the file system mounted on %s", names.Quote(facts.Path), names.Quote(m.Point))
			pass.Summarize("Nothing is mounted on %s.", names.Quote(facts.Path))
		case !facts.Network:
			pass.FlagJob(localFileSystem, "%s is mounted on %s with file system %s", names.Quote(m.From), names.Quote(m.Point), names.Quote(m.Type))
			pass.Summarize("A local file system (%s) is mounted here, not a share.", names.Quote(m.Type))
		}
		if same {
			pass.FlagJob(sameDisk, "both are on %s", names.Quote(m.From))
		}
		if nested {
			s.usable, s.why = false, "source and share lie in one another"
			pass.FlagJob(nestedFolders, "source %s, share %s", names.Quote(job.Source), names.Quote(facts.Path))
			pass.Summarize("Source and share lie in one another.")
		}
		pass.Fact("mount_point", m.Point, "Mounted on %s", names.Quote(m.Point))
		pass.Fact("from", m.From, "Comes from %s", names.Quote(m.From))
		pass.Fact("type", m.Type, "File system: %s", names.Quote(m.Type))
		if facts.Version != "" {
			pass.Fact("nfs_version", facts.Version, "NFS version %s", facts.Version)
		}
		if facts.Space.Total > 0 {
			pass.Fact("free_bytes", facts.Space.Free, "Free: %s of %s", Bytes(facts.Space.Free), Bytes(facts.Space.Total))
		}
		if facts.Invented != "" {
			pass.Fact("invented", facts.Invented, "Invented for the demo: %s", facts.Invented)
		}
		return nil
	},
}

// lookAtShare learns where the copy will lie: on the share, or on what is mounted inside it where the
// prefix leads.
func lookAtShare(ctx context.Context, job *Job) (*share.Facts, error) {
	facts, err := share.Look(ctx, job.Share, job.Deadline)
	if err != nil || job.Prefix == "" {
		return facts, err
	}
	inside, err := share.LookBelow(ctx, job.Share, job.Prefix, job.Deadline)
	at := names.Quote(filepath.Join(job.Share, filepath.FromSlash(job.Prefix)))
	switch {
	case errors.Is(err, share.ErrNotFolder), errors.Is(err, errNotDir):
		return inside, fmt.Errorf("%w: on the share, %s is a file or lies in one; choose the folder that holds the copy", ErrBadJob, at)
	case errors.Is(err, fs.ErrPermission):
		return inside, fmt.Errorf("%w: you may not open %s on the share; run as a user who may, or change its permissions", ErrBadJob, at)
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
func stillMounted(ctx context.Context, pass *Pass, seen *share.Facts) error {
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

// apart tells whether source and share lie in one another or on one file system. Every look at the
// share gives up after the deadline.
func apart(ctx context.Context, job *Job, facts *share.Facts) (nested, same bool, err error) {
	type answer struct{ nested, same bool }
	a, err := share.Guard(ctx, job.Deadline, func() (answer, error) {
		nested, err := share.Nested(job.Source, facts.Path)
		if err != nil {
			return answer{}, err
		}
		if facts.Invented != "" {
			return answer{nested, false}, nil // the stand-in is said to be elsewhere
		}
		same, err := share.SameFileSystem(job.Source, facts.Path)
		return answer{nested, same}, err
	})
	return a.nested, a.same, err
}

var (
	mountSoft = &Rule{
		ID: "mount-soft", Level: Fail,
		When:   "the option soft or softerr is in force",
		Fix:    "Mount again with the option hard: a soft mount gives up after a time-out and can lose what was written without a word.",
		Source: "nfs(5): a soft timeout can cause silent data corruption",
	}
	mountUDP = &Rule{
		ID: "mount-udp", Level: Fail,
		When:   "the share is mounted over UDP",
		Fix:    "Mount again with proto=tcp: over UDP, fragments of different packets can be joined into wrong data.",
		Source: "nfs(5), using NFS over UDP on high-speed links",
	}
	mountReadOnly = &Rule{
		ID: "mount-read-only", Level: Fail,
		When:   "the share is mounted read-only",
		Fix:    "Mount again with the option rw.",
		Source: "mount(8), option ro",
	}
	nfsVersion = &Rule{
		ID: "nfs-version", Level: Note,
		When:   "version 2 of NFS holds no file over 2 GiB (fails); version 3 keeps no extended attributes and dates only from 1970 to 2106",
		Fix:    "If the appliance offers it, mount with vers=4.2, or at least vers=3.",
		Source: "RFC 1094 (from memory), RFC 1813",
	}
	smallTransferSize = &Rule{
		ID: "small-transfer-size", Level: Warn,
		When:   "rsize or wsize in force is under 131,072 bytes; 1,048,576 is the most",
		Fix:    "Mount again with rsize=1048576,wsize=1048576: the server grants what it can.",
		Source: "nfs(5) rsize, wsize; the threshold is common practice, no source",
	}
	attributeCacheOff = &Rule{
		ID: "attribute-cache-off", Level: Warn,
		When:   "noac, sync, actimeo=0 or lookupcache=none is in force: every file costs more calls",
		Fix:    "Mount again without that option. You are the only writer.",
		Source: "nfs(5); 2.8 times the calls, measured",
	}
	shortTimeout = &Rule{
		ID: "short-timeout", Level: Note,
		When:   "timeo is under 600 tenths of a second over TCP (warns on a soft mount)",
		Fix:    "Mount again without timeo, or with timeo=600.",
		Source: "nfs(5): defaults timeo=600, retrans=2",
	}
	noLocks = &Rule{
		ID: "no-locks", Level: Note,
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

var mountOptions = &Check{
	ID: "mount-options", Title: "The mount options are safe for a long copy", Group: GroupShare, NeedsShare: true,
	Doc: "Reads the options that are really in force, not those that were asked for: the kernel and the " +
		"server settle some of them between them. A few make a long copy slow, and a few can lose data " +
		"without an error.",
	Fix:   "Mount the share again with the options that its findings name.",
	Rules: []*Rule{mountSoft, mountUDP, mountReadOnly, nfsVersion, smallTransferSize, attributeCacheOff, shortTimeout, noLocks},
	Needs: []*Check{shareMounted},
	Finish: func(_ context.Context, pass *Pass) error {
		s := StateOf[shareState](pass, shareMounted)
		if s == nil || s.facts == nil {
			return errors.New("nothing is known of the mount")
		}
		if s.facts.System {
			return errors.New(s.why + ", so there are no options to judge")
		}
		judgeOptions(pass, s.facts)
		return nil
	},
}

func judgeOptions(pass *Pass, f *share.Facts) {
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
		pass.FlagJob(mountUDP, "proto=%s is in force", cmpOr(proto, "udp"))
	}
	if slices.Contains(m.Options, "ro") {
		pass.FlagJob(mountReadOnly, "ro is in force")
	}
	switch major, _, _ := strings.Cut(f.Version, "."); major {
	case "2":
		pass.Add(Finding{
			Rule: nfsVersion, Level: Fail, Detail: "version 2 in force: no file over 2 GiB",
			Remedy: "Mount again with vers=4.2, or at least vers=3.",
		})
	case "3":
		pass.FlagJob(nfsVersion, "version 3 in force: no extended attributes, dates from 1970 to 2106 only")
	}
	for _, option := range []string{"rsize", "wsize"} {
		if n, ok := number(option); ok && f.NFS {
			pass.Fact(option, n, "%s in force: %s bytes; %s at most", option, Count(int64(n)), Count(1<<20))
			if n < leastTransfer {
				pass.FlagJob(smallTransferSize, "%s is %s bytes, at least %s are wanted", option, Count(int64(n)), Count(leastTransfer))
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
		level := Note
		if soft {
			level = Warn
		}
		pass.Add(Finding{Rule: shortTimeout, Level: level, Detail: "timeo is " + strconv.Itoa(n) + " tenths of a second, the default is " + strconv.Itoa(usualTimeout)})
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
	pass.Summarize("NFS version %s over %s, %s.", cmpOr(f.Version, "unknown"), cmpOr(proto, "an unknown protocol"), hardness)
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

func cmpOr(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
