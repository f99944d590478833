package main

import (
	"cmp"
	"context"
	"errors"
	"io"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/digest"
)

// runBefore runs the checks before copying.
func runBefore(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("before", "SOURCE [SHARE]", stderr)
	var job checks.Job
	var out output
	out.register(fs)
	registerLimits(fs, &job)
	list := fs.String("copy-list", "", "follow the copy list in `FILE`, one path per line or each ended by NUL: space and time count what is on it, and what is flagged but not on it does no harm")
	invented := fs.Bool("demo", false, demoUsage)
	fs.BoolVar(&job.AllAttributes, "attributes", false, "check every file of a large disk for extended attributes and access lists, not a sample; takes about as long again")
	fs.BoolVar(&job.NoClips, "no-clips", false, "do not look into files: whether clips are whole is then not judged")
	fs.BoolVar(&job.Read, "read", false, "read every file to its last byte: takes as long as the disk needs for it; what was read before and is unchanged is not read again")
	fs.Func("baseline", "with -read, write the checksums of what was read into the new file `FILE`, in the form of a manifest; an existing file is never overwritten", func(s string) error {
		if s == "" { // a variable of a script that was never set
			return errors.New("name the new file")
		}
		job.Baseline = s
		return nil
	})
	fs.BoolVar(&job.CleanTrial, "clean-trial", false, "remove the marked folder that an earlier trial left behind on the share")
	fs.Func("link", "`RATE` of the link to the share, such as 1Gb/s (default: what the interface reports)", rate(&job.Link))
	fs.Func("uplink", "`RATE` of your uplink, such as 10Mb/s, to compare with", rate(&job.Uplink))
	fs.Func("battery", "`HOURS` that the appliance runs on its battery, such as 6", hours(&job.Battery))
	fs.Func("box", "`SIZE` of the appliance that is offered, such as 10TB, to compare with while there is no share", size(&job.Box))
	fs.Func("with", "check another disk as well: `PREFIX=DIR`, the folder on the share that will hold its copy, and where it is; may be repeated", func(s string) error {
		prefix, dir, ok := strings.Cut(s, "=")
		if !ok || dir == "" {
			return errors.New("write the folder on the share, an equals sign and the disk, such as DiskB=/mnt/disk-b")
		}
		job.With = append(job.With, checks.Disk{Source: dir, Prefix: prefix})
		return nil
	})
	rest, err := parsePlaces(fs, args, invented, "SOURCE and SHARE", 1, 2)
	if err != nil {
		return err
	}
	if *invented && len(job.With) > 0 {
		return errors.New("-demo brings its own folders; leave out -with")
	}
	sources := slices.Clone(rest[:min(len(rest), 1)])
	for _, d := range job.With {
		sources = append(sources, d.Source)
	}
	if err := out.check(sources...); err != nil {
		return err
	}
	if out.file != "" && samePath(out.file, job.Baseline) {
		return errors.New("the report and the baseline cannot be one file; choose another name for one of them")
	}
	if err := checkLimits(&job); err != nil {
		return err
	}
	if *list != "" {
		if job.CopyList, err = checks.OpenCopyList(*list); err != nil {
			return err
		}
	}
	if *invented {
		d, done, err := openDemo(stderr)
		defer done()
		if err != nil {
			return err
		}
		fromDemo(&job, d)
		job.Uplink, job.Battery = cmp.Or(job.Uplink, d.Job.Uplink), cmp.Or(job.Battery, d.Job.Battery)
	} else {
		job.Source, job.State = rest[0], stateDir()
		if len(rest) > 1 {
			job.Share = rest[1]
		}
	}
	watch, done := progressLine(stderr)
	rep, err := checks.Run(ctx, job, before.List(), watch)
	done()
	return out.conclude(ctx, rep, err, stoppedBefore(job.Read, rep), stdout, stderr)
}

// stoppedBefore says what a run that was stopped leaves behind.
func stoppedBefore(read bool, rep *checks.Report) string {
	forgotten := hasFact(rep, digest.MemoryError)
	switch {
	case read && forgotten:
		return "stopped before the end; what was read could not be remembered, so the next run with -read reads it again"
	case read:
		return "stopped before the end; what was read is remembered, and the next run with -read goes on from there"
	}
	return "stopped before the end"
}
