package main

import (
	"context"
	"fmt"
	"io"

	"loadline/checks"
	"loadline/checks/seal"
)

const listings = `LISTING is a file made by the store, in any of these forms, compressed with gzip or not:
  a table with a header (commas, tabs, semicolons or bars between) that has a key and a size or checksum
  JSON lines: one object of the store a line
  what sha256sum or md5sum prints
Checksums are SHA-256, MD5 or CRC-32C, hexadecimal or base64. Of a list of versions the latest count.
`

// runArrival compares the manifest with listings of the store.
func runArrival(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	fs := newFlags("arrival", "MANIFEST LISTING...", stderr)
	flags := fs.Usage
	fs.Usage = func() {
		flags()
		fmt.Fprint(stderr, listings)
	}
	options := seal.ArrivalOptions{Version: checks.Version}
	var out output
	out.register(fs)
	fs.Func("prefix", "`FOLDER` that every key begins with (default: as the copy had it, else found)", func(s string) error {
		options.Prefix, options.HasPrefix = s, true
		return nil
	})
	fs.Func("columns", "which columns to read, as `LIST`: key=NAME,size=NAME,md5=NAME (or sha256, crc32c, checksum)", func(s string) (err error) {
		options.Columns, err = seal.ParseWish(s)
		return err
	})
	rest, err := parse(fs, args)
	if err != nil {
		return parsed(err)
	}
	if len(rest) < 2 {
		fs.Usage()
		return exitError
	}
	if err := out.check(); err != nil {
		return fault(stderr, err)
	}
	watch, done := progressLine(stderr)
	rep, err := seal.Arrival(ctx, rest[0], rest[1:], options, watch)
	done()
	return out.conclude(ctx, rep, err, "stopped before the end", stdout, stderr)
}
