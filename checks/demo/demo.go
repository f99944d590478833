// Package demo makes a small invented archive and what happens to it on its way, so that every stage can
// be tried without a disk, a share or a store.
package demo

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/manifest"
	"loadline/checks/share"
)

// A Demo is a small invented archive with a stand-in for the share, in a temporary folder. Only the
// mount facts of the stand-in are invented; every check computes its answer on the folders.
type Demo struct {
	Job    checks.Job // before copying, ready to run
	Copied checks.Job // after copying: the archive as it was repaired, and its copy
	State  string     // folder for what the stage after copying remembers
	Folder string     // holds everything; Close removes it
	marker *os.File   // locked in it

	files []*manifest.File // of the repaired archive
}

var (
	demoDate = time.Date(2026, 9, 12, 16, 30, 0, 0, time.UTC)

	// demoFiles are the well-behaved part of the archive: footage of an old tide mill.
	demoFiles = map[string]int{
		"README.txt":                           412,
		"budget/2026-costs.csv":                1_842,
		"edit/rough-cut-03.edl":                6_120,
		"edit/titles/title-card.svg":           2_204,
		"footage/day-01/A001_C001.mov":         96_000,
		"footage/day-01/A001_C002.mov":         88_400,
		"footage/day-01/A001_C002.xml":         1_130,
		"footage/day-01/A001_C003.mov":         120_250,
		"footage/day-02/A002_C001.mov":         101_700,
		"footage/day-02/A002_C002.mov":         64_300,
		"sound/day-01/boom-001.wav":            44_100,
		"sound/day-01/boom-002.wav":            52_900,
		"sound/day-02/waterwheel-ambience.wav": 70_560,
		"stills/Café au moulin.jpg":            31_000,
		"stills/miller portrait (final).jpg":   28_750,
		"stills/水車.jpg":                        27_310,
		"stills/مطحنة.jpg":                     26_480,
	}

	// demoOdd are names and kinds that somebody will meet on a real disk. A file system that does
	// not take one of them leaves it out.
	demoOdd = map[string]int{
		"edit/Cut 1: the wheel turns.mov":       12_000,
		"edit/what is left?.txt":                300,
		"edit/notes from the miller .txt ":      120,
		"edit/ first line.srt":                  210,
		"edit/-rushes.mov":                      9_000,
		"edit/aux.wav":                          8_000,
		"edit/two\nlines.txt":                   64,
		"edit/mill\u202egnp.exe":                64,
		"stills/caf\xe9 latin.jpg":              18_000,
		"stills/Moulin a\u0300 mare\u0301e.jpg": 17_000,
		"stills/Moulin à marée.jpg":             17_500,
		"stills/Wheel.tif":                      15_000,
		"stills/wheel.tif":                      15_100,
		"footage/day-02/A002_C003.mov":          0,
		"footage/day-02/A002_C004.mov.part":     4_000,
		"footage/" + strings.Repeat("interview with the miller ", 6) + "take 1.mov": 22_000,
		".DS_Store":         6_148,
		"footage/Thumbs.db": 5_000,
		"sound/private.wav": 7_000,
	}
)

// New makes the demo's folders. Close removes them.
func New() (*Demo, error) {
	_ = Sweep() // what an earlier one left behind only takes up room
	folder, err := os.MkdirTemp("", folderNames)
	if err != nil {
		return nil, fmt.Errorf("the demo needs a temporary folder: %w", err)
	}
	if folder, err = filepath.EvalSymlinks(folder); err != nil {
		return nil, err
	}
	d := &Demo{Folder: folder}
	if d.marker, err = mark(folder); err != nil {
		return nil, errors.Join(fmt.Errorf("the demo could not be made: %w", err), d.Close())
	}
	source, dest := filepath.Join(folder, "tide-mill"), filepath.Join(folder, "share")
	if err := errors.Join(os.Mkdir(source, 0o755), os.Mkdir(dest, 0o755), fillDemo(source)); err != nil {
		return nil, errors.Join(fmt.Errorf("the demo could not be made: %w", err), d.Close())
	}
	d.Job = checks.Job{
		Stage: checks.Before, Version: checks.Version,
		Source: source, Share: dest, Prefix: "2026-tide-mill",
		Uplink: 16e6, Battery: 5 * time.Hour, StandInSource: &checks.SourceFacts{Rate: 132e6, USB: 5e9},
		StandIn: &share.Facts{
			Path: dest,
			Mount: share.Mount{
				From: "appliance.invalid:/archive", Point: dest, Root: "/", Type: "nfs",
				Options: []string{"rw", "relatime", "vers=3", "rsize=65536", "wsize=65536", "namlen=255", "hard", "proto=tcp", "timeo=600", "retrans=2", "sec=sys", "local_lock=none"},
			},
			Space:   share.Space{Free: 11_300_000_000_000, Total: 12_000_000_000_000, FreeInodes: 480_000_000, TotalInodes: 488_000_000, NameLimit: 255, Magic: 0x6969},
			Network: true, NFS: true, Version: "3",
			Invented: "the mount of the share and the speed of the disk (NFS version 3, 12 TB); a temporary folder stands in for it",
		},
	}
	if err := d.makeCopied(); err != nil {
		return nil, errors.Join(fmt.Errorf("the demo could not be made: %w", err), d.Close())
	}
	return d, nil
}

// Close removes the demo's folders.
func (d *Demo) Close() error {
	if d.marker != nil {
		_ = d.marker.Close() // the lock on it goes
	}
	// A folder that may not be searched could not be emptied.
	_ = filepath.WalkDir(d.Folder, func(p string, e fs.DirEntry, err error) error {
		if err == nil && e.IsDir() {
			_ = os.Chmod(p, 0o755)
		}
		return nil
	})
	return os.RemoveAll(d.Folder)
}

func fillDemo(root string) error {
	for name, size := range demoFiles {
		if err := demoFile(root, name, size); err != nil {
			return err
		}
	}
	for name, size := range demoOdd {
		_ = demoFile(root, name, size)
	}
	at := func(name string) string { return filepath.Join(root, filepath.FromSlash(name)) }
	deep := "archive" + strings.Repeat("/older", 21)
	_ = demoFile(root, deep+"/cut.txt", 30)
	_ = demoFile(root, "renders/"+strings.Repeat("wheel turning at high water, seen from the bridge, second pass with the long lens and the grey filter, graded and denoised/", 9)+"frame.png", 900)
	_ = demoFile(root, "sound/._boom-001.wav", 0)
	_ = os.WriteFile(at("sound/._boom-001.wav"), []byte("\x00\x05\x16\x07\x00\x02\x00\x00demo"), 0o644)
	_ = os.Mkdir(at("footage/day-03"), 0o755)
	_ = os.Symlink("day-01/A001_C001.mov", at("footage/best take.mov"))
	_ = os.Symlink("../../music/theme.wav", at("sound/theme.wav"))
	_ = os.Symlink("/mnt/old-disk/mill.mov", at("footage/old disk.mov"))
	_ = os.Symlink("day-04/gone.mov", at("footage/gone.mov"))
	_ = os.Link(at("footage/day-01/A001_C001.mov"), at("edit/opening.mov"))
	if f, err := os.Create(at("footage/day-02/camera-card.img")); err == nil {
		_ = f.Truncate(48_000_000_000) // one hole: takes up nothing here
		_ = f.Close()
	}
	_ = os.Chmod(at("sound/private.wav"), 0)
	return demoDates(root)
}

func demoFile(root, name string, size int) error {
	p := filepath.Join(root, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
		return err
	}
	return os.WriteFile(p, content(name, size), 0o644)
}

// demoDates dates everything to the shoot, folders last, so that nothing looks as if it were being
// written.
func demoDates(root string) error {
	var folders []string
	err := filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir():
			folders = append(folders, p)
		case e.Type().IsRegular():
			return os.Chtimes(p, demoDate, demoDate)
		}
		return nil
	})
	for i := len(folders) - 1; i >= 0 && err == nil; i-- {
		err = os.Chtimes(folders[i], demoDate, demoDate)
	}
	return err
}
