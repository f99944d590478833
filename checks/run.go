package checks

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"loadline/checks/share"
	"loadline/checks/walk"
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
	progressEvery      = 100 * time.Millisecond
)

// An Event tells what a run is doing. Events come one at a time, from one goroutine at a time.
type Event struct {
	// Check is the check that began (Result nil) or ended (Result set); nil for mere progress.
	Check  *Check
	Result *Result
	Progress
}

// Progress counts what a run has done.
type Progress struct {
	Phase   string // what is going on, for people: "Reading the source"
	Elapsed time.Duration
	Folders int64
	Entries int64
	Bytes   int64
	Done    float64       // 0 to 1; negative while unknown
	Left    time.Duration // estimated; negative while unknown
}

// ErrBadJob wraps what makes a job impossible to run; its text says what to do.
var ErrBadJob = errors.New("cannot check")

type run struct {
	job    *Job
	trials map[*Check]*Trial
	tally  Tally
}
