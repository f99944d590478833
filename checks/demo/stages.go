package demo

import (
	"bytes"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// What is wrong with the copy at first: each a way in which copies go wrong.
const (
	flippedFile = "footage/day-01/A001_C003.mov"
	shortFile   = "footage/day-02/A002_C001.mov"
	missingFile = "sound/day-02/waterwheel-ambience.wav"
	// missingObject did not arrive in the first listing.
	missingObject = "footage/day-01/A001_C002.mov"
)

// repaired are the files of the archive once it has been repaired: those that behave, and the odd ones
// under new names.
func repaired() map[string]int {
	files := map[string]int{
		"edit/Cut 1 - the wheel turns.mov": 12_000,
		"edit/what is left.txt":            300,
		"edit/rushes.mov":                  9_000,
		"stills/Moulin à marée.jpg":        17_500,
		"stills/Wheel (2).tif":             15_100,
	}
	for name, size := range demoFiles {
		files[name] = size
	}
	return files
}

// fillRepaired makes the repaired archive and its copy, in which three files are wrong.
func (d *Demo) fillRepaired() error {
	for _, root := range []string{d.Copied.Source, d.copy()} {
		for name, size := range repaired() {
			if err := demoFile(root, name, size); err != nil {
				return err
			}
		}
		if err := demoDates(root); err != nil {
			return err
		}
	}
	flipped := filepath.Join(d.copy(), filepath.FromSlash(flippedFile))
	content, err := os.ReadFile(flipped)
	if err != nil {
		return err
	}
	content[len(content)/2] ^= 1
	short := filepath.Join(d.copy(), filepath.FromSlash(shortFile))
	return errors.Join(
		os.WriteFile(flipped, content, 0o644), os.Chtimes(flipped, demoDate, demoDate),
		os.Truncate(short, 65_536), os.Chtimes(short, demoDate, demoDate),
		os.Remove(filepath.Join(d.copy(), filepath.FromSlash(missingFile))))
}

// copy is the folder of the copy on the stand-in.
func (d *Demo) copy() string {
	return filepath.Join(d.Copied.Share, filepath.FromSlash(d.Copied.Prefix))
}

// PutRight puts the three wrong files of the copy right, as a person would by copying them again. It
// touches nothing but the demo's own folders.
func (d *Demo) PutRight() error {
	for _, name := range []string{flippedFile, shortFile, missingFile} {
		if err := demoFile(d.copy(), name, repaired()[name]); err != nil {
			return fmt.Errorf("the demo's copy could not be put right: %w", err)
		}
	}
	return demoDates(d.copy())
}

// Manifest writes a manifest of the repaired archive into the demo's folder, as the stage after copying
// writes one, and returns its file.
func (d *Demo) Manifest() (string, error) {
	var files []*manifest.File
	h := &manifest.Header{Made: demoDate, Source: d.Copied.Source, Prefix: d.Copied.Prefix}
	err := filepath.WalkDir(d.Copied.Source, func(p string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		content, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(d.Copied.Source, p)
		if err != nil {
			return err
		}
		s := sums.New(sums.MD5 | sums.CRCs)
		s.Write(content)
		files = append(files, &manifest.File{Path: []byte(filepath.ToSlash(rel)), Size: int64(len(content)), Sums: s.Sums()})
		h.Files++
		h.Bytes += int64(len(content))
		return nil
	})
	if err != nil {
		return "", err
	}
	slices.SortFunc(files, func(a, b *manifest.File) int { return bytes.Compare(a.Path, b.Path) })
	d.files = files
	file := filepath.Join(d.Folder, manifest.Name(demoDate))
	err = disk.WriteNew(file, func(w io.Writer) error { return manifest.Write(w, h, slices.Values(files)) })
	if errors.Is(err, fs.ErrExist) {
		err = nil
	}
	return file, err
}

// InventedListing is what a report on one of the demo's listings has to say.
const InventedListing = "the listing of the store"

// Listing writes an invented listing of the store into the demo's folder and returns its file. At first an
// object is missing; whole has them all.
func (d *Demo) Listing(whole bool) (string, error) {
	if d.files == nil {
		if _, err := d.Manifest(); err != nil {
			return "", err
		}
	}
	file := filepath.Join(d.Folder, "listing-monday.csv")
	if whole {
		file = filepath.Join(d.Folder, "listing-tuesday.csv")
	}
	err := disk.Replace(file, func(w io.Writer) error {
		c := csv.NewWriter(w)
		rows := [][]string{{"key", "size", "sha256"}}
		for _, f := range d.files {
			if whole || string(f.Path) != missingObject {
				rows = append(rows, []string{d.Copied.Prefix + "/" + string(f.Path), strconv.FormatInt(f.Size, 10), hex.EncodeToString(f.Sums.SHA256[:])})
			}
		}
		return c.WriteAll(rows)
	})
	return file, err
}

// Owns reports whether a file or folder is the demo's own.
func (d *Demo) Owns(path string) bool {
	rel, err := filepath.Rel(d.Folder, path)
	return err == nil && filepath.IsLocal(rel)
}

// makeCopied prepares the job after copying.
func (d *Demo) makeCopied() error {
	d.State = filepath.Join(d.Folder, "state")
	d.Copied = checks.Job{
		Stage: checks.After, Version: checks.Version,
		Source: filepath.Join(d.Folder, "repaired", "tide-mill"), Share: filepath.Join(d.Folder, "copied"), Prefix: d.Job.Prefix,
	}
	facts := *d.Job.StandIn
	facts.Path, facts.Mount.Point = d.Copied.Share, d.Copied.Share
	d.Copied.StandIn = &facts
	err := errors.Join(os.MkdirAll(d.Copied.Source, 0o755), os.MkdirAll(d.copy(), 0o755), os.Mkdir(d.State, 0o700))
	if err != nil {
		return err
	}
	return d.fillRepaired()
}

// content is what a demo's file holds: text of its own, so that no two files are alike.
func content(name string, size int) []byte {
	line := "tide mill, " + name + "\n"
	return []byte(strings.Repeat(line, size/len(line)+1)[:size])
}
