package main

import (
	"context"
	"errors"
	"io"
	"strconv"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/recheck"
)

// runRecheck reads a folder to its last byte and compares it with a manifest.
func runRecheck(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("recheck", "MANIFEST FOLDER", stderr)
	options := recheck.Options{Version: checks.Version, State: stateDir()}
	var out output
	out.register(fs)
	fs.Func("sample", "read only `N` per cent of the files, chosen at random, but at least one", func(s string) error {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil || !(n > 0) || n > 100 {
			return errors.New("write a number over 0, and 100 at most")
		}
		options.Sample = n
		return nil
	})
	fs.Func("seed", "choose the same files as an earlier run: its seed, the whole number `N`", func(s string) error {
		n, err := strconv.ParseUint(s, 10, 64)
		if err != nil {
			return errors.New("write a whole number, 0 or more")
		}
		options.Seed, options.HasSeed = n, true
		return nil
	})
	rest, err := parseCount(fs, args, 2, 2)
	if err != nil {
		return err
	}
	if options.HasSeed && options.Sample == 0 {
		return errors.New("-seed chooses files of a sample: give -sample too")
	}
	if err := out.check(rest[1]); err != nil {
		return err
	}
	watch, done := progressLine(stderr)
	rep, err := recheck.Run(ctx, rest[0], rest[1], options, watch)
	done()
	stopped := "stopped; what was read is remembered, and the next run goes on from there for a week"
	if hasFact(rep, digest.MemoryError) {
		stopped = "stopped; what was read could not be remembered, so the next run begins anew"
	}
	return out.conclude(ctx, rep, err, stopped, stdout, stderr)
}
