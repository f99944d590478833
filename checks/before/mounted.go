package before

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"syscall"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

// shareState is what the first check learned of the share.
type shareState struct {
	Facts *share.Facts
	// Usable is false where nothing may be written or measured there: the share is silent, the
	// folder is not on a share at all, or it is part of the source.
	Usable bool
	Why    string // it is not usable
}

var (
	notAMount = &checks.Rule{
		ID: "not-a-mount", Level: checks.Fail,
		When:   "the folder is on the system's own disk: nothing is mounted there",
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
		When:   "one of source and share is inside the other",
		Fix:    "Choose two separate folders, or the copy would copy itself.",
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
		When:   "the share does not respond in time, or the system reports that its server is gone",
		Fix:    "Check the appliance's cable, power and network, then check again. Nothing is lost by waiting.",
		Source: "nfs(5), option hard: a request is repeated until the server answers; status flags of a mount, nfsstat.c of NFS-339",
	}
)

var ShareMounted = &checks.Check{
	ID: "share-mounted", Title: "The share is mounted", Group: checks.GroupShare, NeedsShare: true,
	Doc: "Looks up which row of the mount table covers the folder that you chose, and whether the " +
		"server behind it responds. If the share is not mounted, the folder is an ordinary one on " +
		"this computer: a copy into it ends without an error, and the appliance travels empty.",
	Fix:   "Mount the share as the appliance's instructions say, then choose its folder again.",
	Rules: []*checks.Rule{notAMount, sameDisk, nestedFolders, localFileSystem, shareSilent},
	Begin: func(*checks.Pass) any { return &shareState{} },
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		job := pass.Job
		s := pass.State.(*shareState)
		pass.Describe(s.describe)
		facts := job.StandIn
		if facts == nil {
			var err error
			facts, err = lookAtShare(ctx, job)
			if share.Silent(err) {
				s.Facts, s.Why = facts, "the share does not respond"
				detail := "no response within " + checks.Span(job.Deadline)
				if facts != nil && facts.Mount.Hangs() != "" {
					detail += ", and the system says about its server: " + facts.Mount.Hangs()
				}
				pass.FlagJob(shareSilent, "%s", detail)
				pass.Summarize("The share does not respond. Nothing else can be learned about it until it does.")
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
		pass.Summarize("%s is mounted on %s and responds.", names.Quote(m.From), names.Quote(m.Point))
		switch {
		case facts.System:
			s.Usable, s.Why = false, "nothing is mounted on the folder that you chose"
			pass.FlagJob(notAMount, "%s is part of the file system mounted on %s", names.Quote(facts.Path), names.Quote(m.Point))
			pass.Summarize("Nothing is mounted on %s.", names.Quote(facts.Path))
		case !facts.Network:
			pass.FlagJob(localFileSystem, "%s is mounted on %s with file system %s", names.Quote(m.From), names.Quote(m.Point), names.Quote(m.Type))
			pass.Summarize("A local file system (%s) is mounted here, not a share.", names.Quote(m.Type))
		case m.Hangs() != "":
			s.Usable, s.Why = false, "the share does not respond"
			pass.FlagJob(shareSilent, "the system says about its server: %s", m.Hangs())
			pass.Summarize("The share does not respond. Nothing else can be learned about it until it does.")
		}
		if facts.System || !facts.Network {
			tellToMount(pass, facts.On(), job.Share)
		}
		if same {
			pass.FlagJob(sameDisk, "both are on %s", names.Quote(m.From))
		}
		if nested != "" {
			s.Usable, s.Why = false, "one folder is inside the other"
			pass.FlagJob(nestedFolders, "source %s, share %s", names.Quote(nested), names.Quote(facts.Path))
			pass.Summarize("One folder is inside the other.")
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

// tellToMount gives the command that mounts a share on the chosen folder. What is not known of it stands in capitals.
func tellToMount(pass *checks.Pass, on share.Platform, folder string) {
	if c, err := share.MountTemplate(on, folder); err == nil && names.Quote(c.Line) == c.Line {
		pass.Commands("mount_command", "To mount the share here, with the appliance's address and what it exports in place of SERVER:/EXPORT:", c.Line)
	}
}

// describe says in the report what is mounted.
func (s *shareState) describe(rep *checks.Report) {
	if f := s.Facts; f != nil && rep.Share != nil {
		rep.Share.From, rep.Share.Type, rep.Share.Options = f.Mount.From, f.Mount.Type, f.Mount.Options
		rep.Share.Free, rep.Share.Total, rep.Share.NameMax = f.Space.Free, f.Space.Total, f.Space.NameLimit
		rep.Invented = f.Invented
	}
}

// lookAtShare learns where the copy will lie: on the share, or on what is mounted inside it where the
// prefix leads. The copies of several disks must be on one file system, since one answer is given for all.
func lookAtShare(ctx context.Context, job *checks.Job) (facts *share.Facts, err error) {
	for i, d := range job.Disks() {
		f, err := lookAtPrefix(ctx, job, d.Prefix)
		if err != nil {
			return f, err
		}
		if i == 0 {
			facts = f
		} else if f.Mount.Point != facts.Mount.Point || f.Device != facts.Device {
			return f, &checks.JobError{
				Field: checks.FieldPrefix, Hint: "check these disks one at a time",
				Err: fmt.Errorf("on the share, the folders %s and %s are on different file systems", names.Quote(job.Prefix), names.Quote(d.Prefix)),
			}
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
		return inside, &checks.JobError{Field: checks.FieldPrefix, Err: fmt.Errorf("on the share, %s is a file, or inside one", at), Hint: "choose the folder that holds the copy"}
	case errors.Is(err, fs.ErrPermission):
		return inside, &checks.JobError{Field: checks.FieldPrefix, Err: fmt.Errorf("you may not open %s on the share", at), Hint: "run as a user who may, or change its permissions"}
	case err != nil:
		return inside, err
	}
	if inside.Mount.Point != facts.Mount.Point || inside.Device != facts.Device {
		return inside, nil
	}
	return facts, nil
}

// stillMounted returns an error where the share is no longer the one that the first check saw: what
// is written or measured then would be so on whatever is below its mount point.
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

// apart tells which source is inside the share, or holds it, empty if none, and whether one is on its file
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
