package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A shape is how the files of a bench tree lie in folders.
type shape struct {
	name string
	doc  string
	// folder is where file number i lies, relative to the tree.
	folder func(i int) string
}

var shapes = []shape{
	{"flat", "all in one folder", func(int) string { return "." }},
	{"wide", "100 in a folder, two levels", func(i int) string {
		return fmt.Sprintf("reel%04d/day%02d", i/10_000, i/100%100)
	}},
	// 18 levels stay below the depth that is flagged.
	{"deep", "20 in a folder, 18 levels", func(i int) string {
		chain, level := i/360, i%360/20+1
		return fmt.Sprintf("c%05d", chain) + strings.Repeat("/s", level-1)
	}},
}

// Names that break one rule each, in turn; %d is the number of the file.
var flaggedNames = []string{
	"take:%d.mov",           // reserved-character
	"take%d.mov.",           // trailing-dot-or-space
	" take%d.mov",           // leading-space
	"-take%d.mov",           // leading-hyphen
	"take%d\u202evom.mov",   // bidi-control
	"cafe\u0301%d.mov",      // not-nfc
	"take%d\t.mov",          // control-character
	"._take%d.mov.part",     // unfinished-file
	"take%d\u00e9\u00e8.mp", // not-portable
	"take%d\xff.mov",        // invalid-utf8
}

// makeTree makes files of 1,000 bytes without blocks, so that a million of them fit anywhere, and
// dates them into the past, so that they do not count as just written. Where flagged is not 0,
// every flagged-th name breaks a rule.
func makeTree(ctx context.Context, root string, s shape, files, flagged int) error {
	old := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	made := ""
	for i := range files {
		if i%1000 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		folder := filepath.Join(root, filepath.FromSlash(s.folder(i)))
		if folder != made {
			if err := os.MkdirAll(folder, 0o755); err != nil {
				return err
			}
			made = folder
		}
		name := fmt.Sprintf("t%07d.mov", i)
		if flagged > 0 && i%flagged == 0 {
			name = fmt.Sprintf(flaggedNames[i/flagged%len(flaggedNames)], i)
		}
		if err := makeFile(folder+"/"+name, old); err != nil {
			return err
		}
	}
	return nil
}

func makeFile(path string, date time.Time) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	if err := f.Truncate(1000); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Chtimes(path, date, date)
}
