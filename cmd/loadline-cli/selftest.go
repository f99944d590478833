package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/selftest"
)

// runSelftest prints what this system really does with a folder and a share, as one JSON document.
func runSelftest(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("selftest", "FOLDER [SHARE]", stderr)
	var out output
	fs.StringVar(&out.file, "o", "", "write the document to `FILE` instead of standard output; an existing file is never overwritten")
	rest, err := parseCount(fs, args, 1, 2)
	if err != nil {
		return err
	}
	for _, folder := range rest {
		if info, err := os.Stat(folder); err != nil || !info.IsDir() {
			return errors.New("there is no folder " + names.Quote(folder) + "; check how its path is spelled")
		}
	}
	if err := out.check(); err != nil {
		return err
	}
	share := ""
	if len(rest) > 1 {
		share = rest[1]
	}
	d := selftest.Run(ctx, checks.Version, rest[0], share)
	err = out.write(stdout, func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		return e.Encode(d)
	})
	if err == nil && d.Interrupted {
		err = errors.New("stopped before the end")
	}
	return err
}
