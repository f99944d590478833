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

// registerLimits adds the flags that say where the copy will lie, and what names and files must keep to.
func registerLimits(fs *flag.FlagSet, job *checks.Job) {
	job.Stage, job.Version = checks.Before, checks.Version
	fs.StringVar(&job.Prefix, "prefix", "", "`FOLDER` on the share that will hold the copy, and so the head of every key")
	fs.IntVar(&job.KeyBytes, "key-bytes", checks.DefaultKeyBytes, "longest key of the object store, `N` bytes")
	fs.Func("object-bytes", "largest object, `N` bytes, or a size such as 5TiB (default 5TiB)", size(&job.ObjectBytes))
	fs.BoolVar(&job.Portable, "portable", false, "warn about every name outside the portable set of POSIX instead of noting it")
	fs.BoolVar(&job.NoTrial, "no-trial", false, "write nothing on the share; the checks that need the write trial are then not judged")
}

// checkLimits refuses limits that no name could keep to.
func checkLimits(job *checks.Job) error {
	if job.KeyBytes < 1 {
		return errors.New("-key-bytes must be at least 1")
	}
	return nil
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
