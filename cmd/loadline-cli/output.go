package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"loadline/checks/names"
	"loadline/checks/share"
)

// reportPatience is how long writing a report may take: its place may be on a share whose server is
// gone (nfs(5), option hard).
const reportPatience = 30 * time.Second

// guarded does what may hang where a report is written.
func guarded(file string, patience time.Duration, f func() error) error {
	err := share.Call(context.Background(), patience, f)
	if share.Silent(err) {
		return fmt.Errorf("%s does not respond; choose a folder on this computer", names.Quote(file))
	}
	return err
}

// placeable says by an error why a report cannot be written to a file, before any work is done: the file is
// there, it would be in one of the sources, which nothing may change, or its folder takes no file.
func placeable(file string, sources []string) error {
	shown := names.Quote(file)
	if _, err := os.Lstat(file); err == nil {
		return fmt.Errorf("%s exists; choose another file for the report, or remove that one", shown)
	}
	dir := filepath.Dir(file)
	for _, s := range sources {
		// A source that is not there is told by the checks.
		if in, err := share.Inside(s, dir); err == nil && in {
			return fmt.Errorf("%s is inside the source, where nothing may be changed; choose another file for the report", shown)
		}
	}
	f, err := os.CreateTemp(dir, reportPattern)
	if err != nil {
		var p *os.PathError
		if errors.As(err, &p) {
			err = p.Err // the name in it is not the person's
		}
		return fmt.Errorf("the report could not be written to the folder %s: %w", names.Quote(dir), err)
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// reportPattern names a report while it is written.
const reportPattern = ".loadline-report-*"

// samePath reports whether two names of files that are not there yet are one.
func samePath(a, b string) bool {
	if a == "" || b == "" {
		return false
	}
	x, err := filepath.Abs(a)
	if err != nil {
		return false
	}
	y, err := filepath.Abs(b)
	return err == nil && x == y
}
