package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"loadline/checks"
	"loadline/checks/arrival"
	"loadline/checks/arrival/listing"
	"loadline/checks/demo"
	"loadline/checks/digest"
)

const listings = `LISTING is a file made by the store or its client, in any of these forms, compressed with gzip or zstd or not:
  a table (commas, tabs, semicolons or bars between) with a key and a size or checksum; without a header its
    columns are recognized by their content, or by the schema file beside it
  JSON lines: one object of the store a line; JSON or XML of any nesting
  what sha256sum or md5sum prints; columns of text with date, size and key
Several files are read as one listing: give all pages of it. Checksums are SHA-256, SHA-1, MD5, CRC-32, CRC-32C or
CRC-64/NVME, of whole objects or of parts, hexadecimal, base64 or decimal. Of a list of versions the latest count.
Exit status 2 also where the listing is incomplete.
`

// runArrival compares the manifest with listings of the store.
func runArrival(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("arrival", "MANIFEST LISTING...", stderr)
	flags := fs.Usage
	fs.Usage = func() {
		flags()
		fmt.Fprint(stderr, listings)
	}
	options := arrival.Options{Version: checks.Version, State: stateDir()}
	var out output
	out.register(fs)
	fs.Func("prefix", "`FOLDER` that every key begins with (default: that of the copy, or what is found)", func(s string) error {
		options.Prefix, options.HasPrefix = s, true
		return nil
	})
	fs.Func("columns", "which columns to read, as `LIST` of names or numbers: key=NAME,size=2,md5=3 (or sha256, sha1, crc32, crc32c, crc64nvme, checksum, tag, modified, latest, deleted, ignore)", func(s string) (err error) {
		if options.Columns != nil {
			return errors.New("give -columns once, with commas between its parts")
		}
		options.Columns, err = listing.ParseColumns(s)
		return err
	})
	fs.StringVar(&options.Source, "source", "", "the disk, as `FOLDER`: checksums of objects in parts are made again from its files")
	fs.Func("also", "a further `MANIFEST` of the archive, such as that of another box (repeatable)", func(s string) error {
		options.Also = append(options.Also, s)
		return nil
	})
	invented := fs.Bool("demo", false, demoUsage)
	rest, err := parsePlaces(fs, args, invented, "MANIFEST and LISTING", 2, math.MaxInt)
	if err != nil {
		return err
	}
	if *invented {
		d, done, err := openDemo(stderr)
		defer done()
		if err != nil {
			return err
		}
		manifest, err := d.Manifest()
		if err != nil {
			return err
		}
		list, err := d.Listing(false)
		if err != nil {
			return err
		}
		rest, options.State = []string{manifest, list}, d.State
	}
	if err := out.check(); err != nil {
		return err
	}
	watch, done := progressLine(stderr)
	rep, err := arrival.Run(ctx, rest[0], rest[1:], options, watch)
	done()
	if rep != nil && *invented {
		rep.Invented = demo.InventedListing
	}
	stopped := "stopped before the end"
	if options.Source != "" && !hasFact(rep, digest.MemoryError) {
		stopped += "; what was read of the disk is remembered"
	}
	return out.conclude(ctx, rep, err, stopped, stdout, stderr)
}
