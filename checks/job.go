package checks

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"loadline/checks/names"
	"loadline/checks/share"
)

// Job is what the person asked for.
type Job struct {
	Stage  Stage
	Source string // folder to be copied
	Share  string // folder of the mounted share; empty while the appliance has not come
	Prefix string // folder on the share that will hold the copy, and so the head of every key
	// With are further disks that are copied to the same share, each to a folder of its own: space and time
	// are judged for all of them. Before copying only.
	With []Disk

	KeyBytes    int       // longest key of the object store, bytes; 0 means DefaultKeyBytes
	ObjectBytes int64     // largest object, bytes; 0 means DefaultObjectBytes
	CopyList    *CopyList // what of the source is to be copied; nil means all
	Portable    bool      // notes on non-portable names become warnings
	NoTrial     bool      // write nothing on the share
	NamesOnly   bool      // the trial on the share measures no rates: for who asks of names only
	// AllAttributes asks every file and folder of a large disk for extended attributes and access
	// lists, a call to the system for each; otherwise a sample.
	AllAttributes bool
	NoClips       bool // do not look into files for the structure of clips
	// Read reads every file that is to be copied to its last byte, unless it is remembered and unchanged.
	Read bool
	// Baseline, with Read, is a new file for the checksums of what was read, in the form of a manifest.
	Baseline string
	// State is the folder of this computer where is remembered what was read; empty: nowhere.
	State string

	CleanTrial bool // remove what an earlier trial left behind on the share

	Link    float64       // line rate to the share, bits a second; 0 means measured or unknown
	Box     int64         // capacity of the appliance that is offered, bytes; 0 means none is known yet
	Uplink  float64       // line rate to the internet, bits a second; 0 means unknown
	Battery time.Duration // how long the appliance runs on its battery; 0 means unknown

	// Deadline is how long a share may stay silent before its check gives up; 0 means
	// DefaultDeadline.
	Deadline time.Duration
	// Expect is how many entries the source probably has, for the progress; 0 means unknown.
	Expect int64
	// Workers is how many folders are read at a time; 0 chooses by the medium.
	Workers int
	// StandIn replaces the mount facts of the share in the demo. The report says so.
	StandIn *share.Facts
	// StandInSource replaces what is measured of the source's disk, in the demo and in tests.
	StandInSource *SourceFacts
	Version       string
	// Now is the clock; nil means time.Now.
	Now func() time.Time
}

// A Disk is a folder to be copied, and the folder on the share that will hold its copy.
type Disk struct{ Source, Prefix string }

// Disks returns all sources of a job, the first of which is Source. Findings and walk.Dir number them so.
func (j *Job) Disks() []Disk { return append([]Disk{{j.Source, j.Prefix}}, j.With...) }

// Disk returns one of Disks.
func (j *Job) Disk(i int) Disk {
	if i == 0 {
		return Disk{j.Source, j.Prefix}
	}
	return j.With[i-1]
}

// SourceFacts say how fast a source's disk is.
type SourceFacts struct {
	Rate float64 // bytes a second that it reads; 0 unknown
	USB  float64 // line rate of its USB link, bits a second; 0 unknown or none
}

// Defaults of a Job.
const (
	DefaultKeyBytes    = 1024             // usual limit of object stores (common practice, no source)
	DefaultObjectBytes = int64(5) << 40   // 5 TiB, the usual limit of one object (common practice, no source)
	DefaultDeadline    = 10 * time.Second // common practice, no source
)

// sourcePatience is how long a source may take to answer at least: a disk that sleeps has to start to turn, which
// takes some ten seconds (common practice, no source).
const sourcePatience = 30 * time.Second

// ErrBadJob is what every JobError is: the job cannot be run at all.
var ErrBadJob = errors.New("cannot check")

// A Field is a part of a job that a person fills in.
type Field string

// The fields.
const (
	FieldSource   Field = "source"
	FieldShare    Field = "share"
	FieldPrefix   Field = "prefix"
	FieldCopyList Field = "copy list"
	FieldManifest Field = "manifest"
	FieldListing  Field = "listing"
	FieldSample   Field = "sample"
	FieldBaseline Field = "baseline"
)

// A JobError says which field makes a job impossible to run, why, and what to do about it.
type JobError struct {
	Field Field
	Err   error  // what is wrong
	Hint  string // what to do, as a clause; empty where Err says it all
	Disk  int    // which of Job.Disks a source or a prefix is of
}

// Error returns problem and hint in one line.
func (e *JobError) Error() string {
	s := ErrBadJob.Error() + ": " + e.Err.Error()
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// Unwrap returns the problem; a JobError is an ErrBadJob besides.
func (e *JobError) Unwrap() []error { return []error{ErrBadJob, e.Err} }

// settle fills in what the zero values mean and refuses what cannot be checked at all.
func (j *Job) settle(ctx context.Context, needsSource bool) error {
	j.Stage = cmp.Or(j.Stage, Before)
	j.KeyBytes = cmp.Or(j.KeyBytes, DefaultKeyBytes)
	j.ObjectBytes = cmp.Or(j.ObjectBytes, DefaultObjectBytes)
	j.Deadline = cmp.Or(j.Deadline, DefaultDeadline)
	if j.Now == nil {
		j.Now = time.Now
	}
	if j.Source == "" && needsSource {
		return &JobError{Field: FieldSource, Err: errors.New("no source chosen"), Hint: "choose the folder that you want to copy"}
	}
	prefix, err := CleanPrefix(j.Prefix)
	if err != nil {
		return err
	}
	j.Prefix = prefix
	if j.Source != "" && needsSource {
		if j.Source, err = SourceFolder(ctx, j.Source, max(j.Deadline, sourcePatience)); err != nil {
			return err
		}
	}
	if err := j.settleWith(ctx); err != nil {
		return err
	}
	if err := j.settleBaseline(ctx); err != nil {
		return err
	}
	if j.Share != "" {
		// Nothing asks the share before its own check does: it may be silent.
		abs, err := filepath.Abs(j.Share)
		if err != nil {
			return &JobError{Field: FieldShare, Err: fmt.Errorf("share %s: %w", names.Quote(j.Share), err)}
		}
		j.Share = abs
	}
	return nil
}

// settleWith is settle for the further disks.
func (j *Job) settleWith(ctx context.Context) (err error) {
	switch {
	case len(j.With) == 0:
		return nil
	case j.Stage != Before || j.Source == "":
		return &JobError{Field: FieldSource, Err: errors.New("several disks can be checked as one job only before copying"), Hint: "check one at a time"}
	case j.Baseline != "":
		return &JobError{Field: FieldBaseline, Err: errors.New("a baseline is of one disk, and there are several"), Hint: "read each disk in a run of its own to get one of each"}
	case j.CopyList != nil:
		return &JobError{Field: FieldCopyList, Err: errors.New("a copy list names files of one disk, and there are several"), Hint: "check one disk at a time"}
	}
	with := make([]Disk, len(j.With)) // the caller's stays as it is
	for i, d := range j.With {
		if with[i].Prefix, err = CleanPrefix(d.Prefix); err != nil {
			return ofDisk(i+1, err)
		}
		if d.Source == "" {
			return ofDisk(i+1, &JobError{Field: FieldSource, Err: fmt.Errorf("disk %d is not chosen", i+2), Hint: "choose its folder"})
		}
		if with[i].Source, err = SourceFolder(ctx, d.Source, max(j.Deadline, sourcePatience)); err != nil {
			return ofDisk(i+1, err)
		}
	}
	j.With = with
	disks := j.Disks()
	for i, a := range disks {
		for _, b := range disks[:i] {
			nested, err := share.Guard(ctx, j.Deadline, func() (bool, error) { return share.Nested(a.Source, b.Source) })
			if err != nil {
				return &JobError{Field: FieldSource, Disk: i, Err: err}
			}
			if nested {
				return &JobError{
					Field: FieldSource, Disk: i, Hint: "choose two separate folders",
					Err: fmt.Errorf("one of the sources %s and %s is inside the other and would be counted twice", names.Quote(b.Source), names.Quote(a.Source)),
				}
			}
		}
	}
	return nil
}

// ofDisk says which of the disks an error is about.
func ofDisk(i int, err error) error {
	if e := (*JobError)(nil); errors.As(err, &e) {
		e.Disk = i
	}
	return err
}

// settleBaseline refuses a baseline that cannot be written, before hours of reading.
func (j *Job) settleBaseline(ctx context.Context) error {
	if j.Baseline == "" {
		return nil
	}
	bad := func(why, hint string) error {
		return &JobError{Field: FieldBaseline, Err: errors.New(why), Hint: hint}
	}
	if !j.Read {
		return bad("a baseline records what was read, and no reading was asked for", "add -read")
	}
	abs, err := filepath.Abs(j.Baseline)
	if err != nil {
		return bad(Reason(err), "name another file")
	}
	shown, dir := names.Quote(abs), filepath.Dir(abs)
	err = share.Call(ctx, j.Deadline, func() error {
		if _, err := os.Lstat(abs); err == nil {
			return bad(shown+" already exists", "name another file")
		}
		if info, err := os.Stat(dir); err != nil || !info.IsDir() {
			return bad("there is no folder "+names.Quote(dir)+" for the baseline", "create it, or name another")
		}
		if in, err := share.Inside(j.Source, dir); err == nil && in {
			return bad(shown+" is in the source, where nothing may be changed", "name a file elsewhere")
		}
		return nil
	})
	if errors.Is(err, share.ErrSilent) {
		return bad("the folder for the baseline does not respond", "name a file on this computer")
	}
	j.Baseline = abs
	return err
}

// CleanPrefix returns a prefix in the form of a relative path, "" for none.
func CleanPrefix(prefix string) (string, error) {
	p := filepath.ToSlash(prefix)
	for _, part := range strings.Split(p, "/") {
		if part == ".." {
			return "", &JobError{Field: FieldPrefix, Err: errors.New("the folder on the share must be inside the share"), Hint: "leave out \"..\""}
		}
	}
	if strings.ContainsRune(p, 0) {
		return "", &JobError{Field: FieldPrefix, Err: errors.New("the name of the folder on the share contains a NUL byte"), Hint: "type another name"}
	}
	if p = strings.Trim(path.Clean("/"+p), "/"); p == "." {
		p = ""
	}
	return p, nil
}

// SourceFolder returns the absolute path of a folder with links resolved, or says why it is none. The disk must
// answer within deadline.
func SourceFolder(ctx context.Context, name string, deadline time.Duration) (string, error) {
	abs, err := filepath.Abs(name)
	if err != nil {
		return "", &JobError{Field: FieldSource, Err: fmt.Errorf("source %s: %w", names.Quote(name), err)}
	}
	real, err := share.Guard(ctx, deadline, func() (string, error) {
		real, err := filepath.EvalSymlinks(abs)
		if err != nil {
			return "", err
		}
		info, err := os.Stat(real)
		if err != nil {
			return "", err
		}
		if !info.IsDir() {
			return "", share.ErrNotFolder
		}
		return real, nil
	})
	if err != nil && ctx.Err() != nil {
		return "", ctx.Err()
	}
	if errors.Is(err, share.ErrSilent) {
		return "", &JobError{Field: FieldSource, Err: fmt.Errorf("the source %s has not answered for %s", names.Quote(abs), Span(deadline)), Hint: "look at its cable and power"}
	}
	return real, FolderError(FieldSource, abs, err)
}

// FolderError puts in words why the folder of a field cannot be used, nil if it can.
func FolderError(field Field, path string, err error) error {
	shown := names.Quote(path)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return &JobError{Field: field, Err: fmt.Errorf("there is no %s folder %s", field, shown), Hint: "make sure it is plugged in and mounted, and that the path is spelled correctly"}
	case errors.Is(err, fs.ErrPermission):
		return &JobError{Field: field, Err: fmt.Errorf("you may not open the %s folder %s", field, shown), Hint: "run as a user who may, or change its permissions"}
	case errors.Is(err, share.ErrNotFolder), errors.Is(err, syscall.ENOTDIR):
		return &JobError{Field: field, Err: fmt.Errorf("the %s %s is a file", field, shown), Hint: "choose the folder that holds it"}
	}
	return &JobError{Field: field, Err: fmt.Errorf("%s %s: %w", field, shown, err)}
}
