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

	KeyBytes    int       // longest key of the object store, bytes; 0 means DefaultKeyBytes
	ObjectBytes int64     // largest object, bytes; 0 means DefaultObjectBytes
	CopyList    *CopyList // what of the source is to be copied; nil means all
	Portable    bool      // notes on non-portable names become warnings
	NoTrial     bool      // write nothing on the share
	NamesOnly   bool      // the trial on the share measures no rates: for who asks of names only
	// AllAttributes asks every file and folder of a large disk for extended attributes and access
	// lists, a call to the system for each; otherwise a sample.
	AllAttributes bool
	CleanTrial    bool // remove what an earlier trial left behind on the share

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
	if j.Source, err = sourceFolder(ctx, j.Source, j.Deadline); err != nil {
		return err
	}
	if j.Share != "" {
		// Nothing asks the share before its own check does: it may be silent.
		abs, err := filepath.Abs(j.Share)
		if err != nil {
			return fmt.Errorf("%w: share %s: %w", ErrBadJob, names.Quote(j.Share), err)
		}
		j.Share = abs
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

// sourceFolder returns the absolute path of a folder with links resolved, or says why it is none.
func sourceFolder(ctx context.Context, name string, deadline time.Duration) (string, error) {
	abs, err := filepath.Abs(name)
	if err != nil {
		return "", fmt.Errorf("%w: source %s: %w", ErrBadJob, names.Quote(name), err)
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
	if errors.Is(err, share.ErrSilent) {
		return "", fmt.Errorf("%w: the source %s has not answered for %s; look at its cable and power", ErrBadJob, names.Quote(abs), Span(deadline))
	}
	return real, noFolder("source", abs, err)
}

// noFolder puts in words why a folder cannot be used, nil if it can.
func noFolder(role, path string, err error) error {
	shown := names.Quote(path)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w: there is no %s folder %s; look whether it is plugged in and mounted, and how the path is spelled", ErrBadJob, role, shown)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w: you may not open the %s folder %s; run as a user who may, or change its permissions", ErrBadJob, role, shown)
	case errors.Is(err, share.ErrNotFolder), errors.Is(err, errNotDir):
		return fmt.Errorf("%w: the %s %s is a file; choose the folder that holds it", ErrBadJob, role, shown)
	}
	return fmt.Errorf("%w: %s %s: %w", ErrBadJob, role, shown, err)
}

// errNotDir is the system's word for a path that leads through a file (POSIX open: ENOTDIR).
var errNotDir error = syscall.ENOTDIR
