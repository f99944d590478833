package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/checks/split"
)

// runSplit deals out a source to several boxes, one copy list each.
func runSplit(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("split", "-box SIZE... SOURCE", stderr)
	job := checks.Job{Version: checks.Version}
	var o split.Options
	var dir, list string
	var nul, asJSON bool
	var inodes int64
	fs.Func("box", "a box that takes `SIZE`, such as 8TB; once for each box", func(s string) error {
		var n int64
		if err := size(&n)(s); err != nil {
			return err
		}
		o.Boxes = append(o.Boxes, split.Box{Size: n})
		return nil
	})
	fs.StringVar(&dir, "o", "", "write the copy lists box-1.list, box-2.list … to the folder `DIR`, which is new or empty")
	fs.BoolVar(&nul, "0", false, "end each path in the lists with NUL, so that names with line breaks fit")
	fs.BoolVar(&asJSON, "json", false, "print the report as JSON")
	fs.StringVar(&list, "copy-list", "", "divide only what is on the copy list in `FILE`, one path per line or each ended by NUL")
	fs.Func("unit", "bytes that a box allocates at a time, a `SIZE` such as 1MiB (default 4096; the report of a check with the share says what was measured)", size(&o.Unit))
	fs.Func("inodes", "files and folders that each box takes, a number `N` (default: not counted)", func(s string) (err error) {
		if inodes, err = strconv.ParseInt(s, 10, 64); err != nil || inodes < 1 {
			return errors.New("write a whole number of files and folders")
		}
		return nil
	})
	rest, err := parseCount(fs, args, 1, 1)
	if err != nil {
		return err
	}
	if len(o.Boxes) == 0 {
		return errors.New("no box given; say how much each takes, such as -box 8TB -box 8TB")
	}
	for i := range o.Boxes {
		o.Boxes[i].Inodes = inodes
	}
	job.Source = rest[0]
	if list != "" {
		if job.CopyList, err = checks.OpenCopyList(list); err != nil {
			return err
		}
	}
	if dir != "" {
		err := guarded(dir, share.DefaultDeadline, func() error { return split.CheckFolder(dir, job.Source) })
		if err != nil {
			return err
		}
	}
	watch, done := progressLine(stderr)
	p, err := split.Make(ctx, job, o, watch)
	done()
	if err == nil && dir != "" {
		err = p.WriteLists(ctx, dir, nul)
	}
	if err != nil {
		return err
	}
	if asJSON {
		err = p.WriteJSON(stdout)
	} else if err = p.WriteText(stdout); err == nil {
		err = splitNext(stdout, dir)
	}
	if err != nil {
		return fmt.Errorf("the report could not be written: %w", err)
	}
	if len(p.Left) > 0 {
		return exit(exitFail)
	}
	return nil
}

// splitNext says how to go on.
func splitNext(w io.Writer, dir string) error {
	next := "No list was written: run again with -o DIR."
	if dir != "" {
		next = "Then, one box at a time: loadline-cli before -copy-list LIST SOURCE SHARE, and after it is copied\n" +
			"loadline-cli after -copy-list LIST SOURCE SHARE. Keep the source until the arrival of all of it is verified."
	}
	_, err := fmt.Fprintf(w, "\n%s\n", next)
	return err
}
