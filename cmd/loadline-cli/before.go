package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"loadline/checks"
)

// runBefore runs the checks before copying.
func runBefore(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	fs := newFlags("before", "SOURCE [SHARE]", stderr)
	job := checks.Job{Stage: checks.Before, Version: checks.Version}
	var out output
	out.register(fs)
	registerJob(fs, &job)
	fs.BoolVar(&job.Portable, "portable", false, "warn of every name outside the portable set of POSIX, not just note it")
	fs.BoolVar(&job.NoTrial, "no-trial", false, "write nothing on the share; its checks are then not judged")
	fs.BoolVar(&job.AllAttributes, "attributes", false, "ask every file of a large disk for extended attributes and access lists, not a sample; takes about as long again")
	fs.BoolVar(&job.CleanTrial, "clean-trial", false, "remove the marked folder that an earlier trial left behind on the share")
	fs.Func("link", "line `RATE` to the share, such as 1Gb/s (default: as the interface says)", rate(&job.Link))
	fs.Func("uplink", "line `RATE` to the internet, such as 10Mb/s, to compare with", rate(&job.Uplink))
	fs.Func("battery", "`HOURS` that the appliance runs on its battery, such as 6", func(s string) error {
		h, err := strconv.ParseFloat(s, 64)
		if err != nil || !(h > 0) || h > 10_000 {
			return errors.New("write a number of hours, such as 6 or 4.5")
		}
		job.Battery = time.Duration(h * float64(time.Hour))
		return nil
	})
	list := fs.String("copy-list", "", "follow the copy list in `FILE`, one path a line or each ended by NUL: space and time count what is on it, and what is flagged but not on it does no harm")
	demo := fs.Bool("demo", false, "run on a small invented archive and a stand-in share, made in a temporary folder")
	rest, err := parse(fs, args)
	if err != nil {
		return parsed(err)
	}
	if job.KeyBytes < 1 {
		return fault(stderr, errors.New("-key-bytes must be at least 1"))
	}
	if err := out.check(rest[:min(len(rest), 1)]...); err != nil {
		return fault(stderr, err)
	}
	if *list != "" {
		if job.CopyList, err = checks.OpenCopyList(*list); err != nil {
			return fault(stderr, err)
		}
	}
	switch {
	case *demo && len(rest) > 0:
		return fault(stderr, errors.New("-demo brings its own folders; leave out SOURCE and SHARE"))
	case *demo:
		d, err := checks.NewDemo()
		if err != nil {
			return fault(stderr, err)
		}
		defer d.Close()
		job.Source, job.Share, job.StandIn = d.Job.Source, d.Job.Share, d.Job.StandIn
		if job.Prefix == "" {
			job.Prefix = d.Job.Prefix
		}
		if job.Uplink == 0 {
			job.Uplink = d.Job.Uplink
		}
		if job.Battery == 0 {
			job.Battery = d.Job.Battery
		}
		fmt.Fprintln(stderr, "This is a demo on invented files in", d.Folder, "(removed at the end).")
	case len(rest) == 1:
		job.Source = rest[0]
	case len(rest) == 2:
		job.Source, job.Share = rest[0], rest[1]
	default:
		fs.Usage()
		return exitError
	}
	watch, done := progressLine(stderr)
	rep, err := checks.Run(ctx, job, checks.BeforeList(), watch)
	done()
	if err != nil {
		return fault(stderr, err)
	}
	return out.writeReport(rep, stdout, stderr)
}

// rate reads a line rate into bits.
func rate(bits *float64) func(string) error {
	return func(s string) (err error) {
		*bits, err = checks.ParseRate(s)
		return err
	}
}
