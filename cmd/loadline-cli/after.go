package main

import (
	"context"
	"errors"
	"io"

	"loadline/checks"
	"loadline/checks/after"
)

// runAfter runs the checks after copying, which write the manifest if everything is proven.
func runAfter(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("after", "SOURCE SHARE", stderr)
	job := checks.Job{Stage: checks.After, Version: checks.Version}
	options := after.Options{State: stateDir()}
	var out output
	out.register(fs)
	fs.StringVar(&job.Prefix, "prefix", "", "`FOLDER` on the share that holds the copy, and so the head of every key")
	fs.StringVar(&options.Manifest, "manifest", "", "write this computer's copy of the manifest to `FILE` (default: in the state folder); an existing file is never overwritten")
	fs.StringVar(&options.Bag, "bag", "", "also write the tag files of a bag (RFC 8493) into the new folder `DIR`; the copy is its payload")
	list := fs.String("copy-list", "", "do not report as missing what is not on the copy list in `FILE`: one path per line, or each ended by NUL")
	fs.BoolVar(&job.NoTrial, "no-trial", false, "write nothing on the share: the manifest stays on this computer only")
	fs.BoolVar(&options.NoMD5, "no-md5", false, "leave MD5 out of the manifest: quicker on two cores, but most listings hold no better checksum")
	fs.BoolVar(&options.Fresh, "fresh", false, "read everything again, whatever earlier runs have proven")
	demo := fs.Bool("demo", false, demoUsage)
	rest, err := parsePlaces(fs, args, demo, "SOURCE and SHARE", 2, 2)
	if err != nil {
		return err
	}
	if *demo {
		d, done, err := openDemo(stderr)
		defer done()
		if err != nil {
			return err
		}
		rest = []string{d.Copied.Source, d.Copied.Share}
		job.StandIn, options.State = d.Copied.StandIn, d.State
		if job.Prefix == "" {
			job.Prefix = d.Copied.Prefix
		}
	}
	if err := out.check(rest[0]); err != nil {
		return err
	}
	if out.file != "" && (samePath(out.file, options.Manifest) || samePath(out.file, options.Bag)) {
		return errors.New("the report and the manifest cannot be one file; choose another name for one of them")
	}
	if *list != "" {
		if job.CopyList, err = checks.OpenCopyList(*list); err != nil {
			return err
		}
	}
	job.Source, job.Share = rest[0], rest[1]
	watch, done := progressLine(stderr)
	rep, err := after.Run(ctx, job, options, watch)
	done()
	stopped := "stopped; what was proven is remembered, and the next run goes on from there"
	if hasFact(rep, after.MemoryError) {
		stopped = "stopped; what was proven could not be remembered, so the next run begins anew"
	}
	return out.conclude(ctx, rep, err, stopped, stdout, stderr)
}
