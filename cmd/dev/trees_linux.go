package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A shape is how the files of a bench tree are in folders.
type shape struct {
	name string
	doc  string
	// folder is where file number i lies, relative to the tree.
	folder func(i int) string
}

var shapes = []shape{
	{"flat", "all in one folder", func(int) string { return "" }},
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

// A forest is one set of files that takes one shape after the other by renaming. Making every tree
// anew is slow: ext4 looks at each inode that was freed a short while ago before it takes one.
type forest struct {
	root    string
	shape   shape
	flagged int // every flagged-th name breaks a rule; 0 none
	files   int
	// content is what the files hold in turn; without it each is 1,000 bytes of nothing.
	content [][]byte
}

// tree is the folder that holds the files now.
func (f *forest) tree() string { return filepath.Join(f.root, f.shape.name) }

// folder is where a file lies.
func (f *forest) folder(i int) string {
	return filepath.Join(f.tree(), filepath.FromSlash(f.shape.folder(i)))
}

// name is what a file is called.
func (f *forest) name(i int) string {
	if f.flagged > 0 && i%f.flagged == 0 {
		return fmt.Sprintf(flaggedNames[i/f.flagged%len(flaggedNames)], i)
	}
	return fmt.Sprintf("t%07d.mov", i)
}

// arrange gives the forest a shape and makes the files that it lacks.
func (f *forest) arrange(ctx context.Context, s shape, files, flagged int) error {
	was := *f
	f.shape, f.flagged = s, flagged
	made := ""
	for i := range max(files, f.files) {
		if i%1000 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		folder := f.folder(i)
		if folder != made {
			if err := os.MkdirAll(folder, 0o755); err != nil {
				return err
			}
			made = folder
		}
		path := folder + "/" + f.name(i)
		if i >= was.files {
			if err := makeFile(path, f.contentOf(i)); err != nil {
				return err
			}
			f.files++
			continue
		}
		if old := was.folder(i) + "/" + was.name(i); old != path {
			if err := os.Rename(old, path); err != nil {
				return err
			}
		}
	}
	if was.files > 0 && was.tree() != f.tree() {
		return os.RemoveAll(was.tree()) // folders only: every file has moved
	}
	return nil
}

// longAgo is the date of all files, so that none counts as just written.
var longAgo = time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)

func (f *forest) contentOf(i int) []byte {
	if len(f.content) == 0 {
		return nil
	}
	return f.content[i%len(f.content)]
}

// makeFile makes a file that holds content, or one of 1,000 bytes without blocks, so that a million of them fit
// anywhere.
func makeFile(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	if content == nil {
		err = f.Truncate(1000)
	} else {
		_, err = f.Write(content)
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	return os.Chtimes(path, longAgo, longAgo)
}
