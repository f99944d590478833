package main

import (
	"cmp"
	"errors"
	"flag"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/dustin/go-humanize"

	"loadline/checks"
	"loadline/checks/demo"
)

// demoUsage says what -demo does.
const demoUsage = "run on a small invented archive, made in a temporary folder and removed at the end"

// jobFlags are the flags that say what is to be checked before copying. The commands that run these
// checks share them.
type jobFlags struct {
	job  checks.Job
	list string
	demo bool
}

func (j *jobFlags) register(fs *flag.FlagSet) {
	registerLimits(fs, &j.job)
	fs.StringVar(&j.list, "copy-list", "", "follow the copy list in `FILE`, one path per line or each ended by NUL: space and time count what is on it, and what is flagged but not on it does no harm")
	fs.BoolVar(&j.demo, "demo", false, demoUsage)
}

// registerLimits adds the flags that say what names and files must keep to.
func registerLimits(fs *flag.FlagSet, job *checks.Job) {
	job.Stage, job.Version = checks.Before, checks.Version
	registerJob(fs, job)
	fs.BoolVar(&job.Portable, "portable", false, "warn about every name outside the portable set of POSIX instead of noting it")
	fs.BoolVar(&job.NoTrial, "no-trial", false, "write nothing on the share; the checks that need the write trial are then not judged")
}

// registerJob registers what says where the copy will lie and what its store takes.
func registerJob(fs *flag.FlagSet, job *checks.Job) {
	fs.StringVar(&job.Prefix, "prefix", "", "`FOLDER` on the share that will hold the copy, and so the head of every key")
	fs.IntVar(&job.KeyBytes, "key-bytes", checks.DefaultKeyBytes, "longest key of the object store, `N` bytes")
	fs.Func("object-bytes", "largest object, `N` bytes, or a size such as 5TiB (default 5TiB)", size(&job.ObjectBytes))
}

// settle takes the places from the arguments, or from the demo. done removes what the demo made.
func (j *jobFlags) settle(args []string, stderr io.Writer) (done func(), err error) {
	done = func() {}
	if j.job.KeyBytes < 1 {
		return done, errors.New("-key-bytes must be at least 1")
	}
	if j.list != "" {
		if j.job.CopyList, err = checks.OpenCopyList(j.list); err != nil {
			return done, err
		}
	}
	if !j.demo {
		j.job.Source = args[0]
		if len(args) > 1 {
			j.job.Share = args[1]
		}
		return done, nil
	}
	d, done, err := openDemo(stderr)
	if err != nil {
		return done, err
	}
	fromDemo(&j.job, d)
	j.job.Uplink, j.job.Battery = cmp.Or(j.job.Uplink, d.Job.Uplink), cmp.Or(j.job.Battery, d.Job.Battery)
	return done, nil
}

// openDemo makes the demo, and what removes it.
func openDemo(stderr io.Writer) (d *demo.Demo, done func(), err error) {
	d, err = demo.New()
	if err != nil {
		return nil, func() {}, err
	}
	fmt.Fprintln(stderr, "This is a demo on invented files in", d.Folder, "(removed at the end).")
	return d, func() {
		if err := d.Close(); err != nil {
			fmt.Fprintln(stderr, "loadline-cli: the demo's folder could not be removed:", checks.Plain(err.Error()))
		}
	}, nil
}

// fromDemo takes the places of a job before copying from the demo.
func fromDemo(job *checks.Job, d *demo.Demo) {
	job.Source, job.Share = d.Job.Source, d.Job.Share
	job.StandIn, job.StandInSource = d.Job.StandIn, d.Job.StandInSource
	job.Prefix = cmp.Or(job.Prefix, d.Job.Prefix)
}

// errDemoPlaces is what is said of places beside -demo.
func errDemoPlaces(places string) error {
	return fmt.Errorf("-demo brings its own folders and files; leave out %s", places)
}

// size reads a number of bytes as people write it.
func size(bytes *int64) func(string) error {
	return func(s string) error {
		n, err := humanize.ParseBytes(s)
		if err != nil || n == 0 || n > 1<<62 {
			return errors.New("write a number of bytes, or a size such as 5TiB")
		}
		*bytes = int64(n)
		return nil
	}
}

// hours reads a number of hours.
func hours(d *time.Duration) func(string) error {
	return func(s string) error {
		h, err := strconv.ParseFloat(s, 64)
		if err != nil || !(h > 0) || h > 10_000 {
			return errors.New("write a number of hours, such as 6 or 4.5")
		}
		*d = time.Duration(h * float64(time.Hour))
		return nil
	}
}

// rate reads a line rate into bits.
func rate(bits *float64) func(string) error {
	return func(s string) (err error) {
		*bits, err = checks.ParseRate(s)
		return err
	}
}
