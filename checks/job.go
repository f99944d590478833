package checks

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
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

	KeyBytes    int   // longest key of the object store, bytes; 0 means DefaultKeyBytes
	ObjectBytes int64 // largest object, bytes; 0 means DefaultObjectBytes
	Portable    bool  // notes on non-portable names become warnings
	NoTrial     bool  // write nothing on the share

	Link    float64       // line rate to the share, bits a second; 0 means measured or unknown
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
	Version string
	// Now is the clock; nil means time.Now.
	Now func() time.Time
}

// Defaults of a Job.
const (
	DefaultKeyBytes    = 1024             // usual limit of object stores (common practice, no source)
	DefaultObjectBytes = int64(5) << 40   // 5 TiB, the usual limit of one object (common practice, no source)
	DefaultDeadline    = 10 * time.Second // common practice, no source
)

// ErrBadJob wraps what makes a job impossible to run; its text says what to do.
var ErrBadJob = errors.New("cannot check")

// settle fills in what the zero values mean and refuses what cannot be checked at all.
func (j *Job) settle(ctx context.Context) error {
	if j.Stage == "" {
		j.Stage = Before
	}
	if j.KeyBytes == 0 {
		j.KeyBytes = DefaultKeyBytes
	}
	if j.ObjectBytes == 0 {
		j.ObjectBytes = DefaultObjectBytes
	}
	if j.Deadline == 0 {
		j.Deadline = DefaultDeadline
	}
	if j.Now == nil {
		j.Now = time.Now
	}
	if j.Source == "" {
		return fmt.Errorf("%w: no source chosen; choose the folder that is to be copied", ErrBadJob)
	}
	prefix, err := CleanPrefix(j.Prefix)
	if err != nil {
		return err
	}
	j.Prefix = prefix
	if j.Source, err = folder(ctx, "source", j.Source, j.Deadline); err != nil {
		return err
	}
	if j.Share != "" {
		found, err := folder(ctx, "share", j.Share, j.Deadline)
		switch {
		case err == nil:
			j.Share = found
		case errors.Is(err, share.ErrSilent), errors.Is(err, share.ErrBusy):
			// A silent share is a finding of its check, not a reason to refuse the source.
		default:
			return err
		}
	}
	return nil
}

// CleanPrefix returns a prefix in the form of a relative path, "" for none.
func CleanPrefix(prefix string) (string, error) {
	p := filepath.ToSlash(prefix)
	for _, part := range strings.Split(p, "/") {
		if part == ".." {
			return "", fmt.Errorf("%w: the folder on the share must lie on the share; leave out \"..\"", ErrBadJob)
		}
	}
	if strings.ContainsRune(p, 0) {
		return "", fmt.Errorf("%w: the folder on the share holds a NUL byte", ErrBadJob)
	}
	if p = strings.Trim(path.Clean("/"+p), "/"); p == "." {
		p = ""
	}
	return p, nil
}

// folder returns the absolute path of a folder with links resolved, or says why it is none.
func folder(ctx context.Context, role, name string, deadline time.Duration) (string, error) {
	abs, err := filepath.Abs(name)
	if err != nil {
		return "", fmt.Errorf("%w: %s %s: %w", ErrBadJob, role, names.Quote(name), err)
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
			return "", errNotFolder
		}
		return real, nil
	})
	shown := names.Quote(abs)
	switch {
	case err == nil:
		return real, nil
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("%w: there is no %s folder %s; look whether the disk is plugged in and mounted, and how the path is spelled", ErrBadJob, role, shown)
	case errors.Is(err, fs.ErrPermission):
		return "", fmt.Errorf("%w: you may not open the %s folder %s; run as a user who may, or change its permissions", ErrBadJob, role, shown)
	case errors.Is(err, errNotFolder):
		return "", fmt.Errorf("%w: the %s %s is a file; choose the folder that holds it", ErrBadJob, role, shown)
	}
	return "", fmt.Errorf("%w: %s %s: %w", ErrBadJob, role, shown, err)
}

var errNotFolder = errors.New("not a folder")
