package gui

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"loadline/checks"
	"loadline/gui/kit"
)

// choices are what the window remembers between two starts.
type choices struct {
	Stage    checks.Stage `json:"stage,omitempty"`
	Source   []byte       `json:"source,omitempty"` // raw bytes of a path need not be UTF-8
	Share    []byte       `json:"share,omitempty"`
	Prefix   []byte       `json:"prefix,omitempty"`
	CopyList []byte       `json:"copy_list,omitempty"`
	Manifest []byte       `json:"manifest,omitempty"`
	Listing  []byte       `json:"listing,omitempty"`
	Copy     []byte       `json:"copy,omitempty"` // the folder that is rechecked
	Columns  string       `json:"columns,omitempty"`
	Disk     []byte       `json:"disk,omitempty"`
	With     []keptDisk   `json:"with,omitempty"` // further disks
	boxSizes
	Uplink  string   `json:"uplink,omitempty"`
	Battery string   `json:"battery,omitempty"`
	Link    string   `json:"link,omitempty"`
	Theme   kit.Mode `json:"theme,omitempty"`
	Width   float32  `json:"width,omitempty"`
	Height  float32  `json:"height,omitempty"`
}

type keptDisk struct {
	Source []byte `json:"source"`
	Prefix []byte `json:"prefix,omitempty"`
}

func keptDisks(list []checks.Disk) []keptDisk {
	var kept []keptDisk
	for _, d := range list {
		if d.Source != "" {
			kept = append(kept, keptDisk{[]byte(d.Source), []byte(d.Prefix)})
		}
	}
	return kept
}

func (c *choices) disks() []checks.Disk {
	var list []checks.Disk
	for _, d := range c.With {
		list = append(list, checks.Disk{Source: string(d.Source), Prefix: string(d.Prefix)})
	}
	return list
}

const choicesFile = "window.json"

// loadChoices reads what was remembered; a file that is missing or broken gives the zero value and,
// where it is broken, an error to show.
func loadChoices(dir string) (choices, error) {
	var c choices
	if dir == "" {
		return c, nil
	}
	b, err := os.ReadFile(filepath.Join(dir, choicesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &c)
	}
	if err != nil {
		return choices{}, err
	}
	return c, nil
}

// save writes the choices with a rename, so that a crash leaves the old file or the new one.
func (c choices) save(dir string) error {
	if dir == "" {
		return nil
	}
	b, err := json.MarshalIndent(c, "", "\t")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return replaceFile(filepath.Join(dir, choicesFile), append(b, '\n'))
}

// sweep removes what a start that was cut off left half written in the state folder.
func sweep(dir string, now time.Time) {
	if dir == "" {
		return
	}
	left, err := filepath.Glob(filepath.Join(dir, tempNames))
	if err != nil {
		return
	}
	for _, name := range left {
		if info, err := os.Lstat(name); err == nil && info.Mode().IsRegular() && now.Sub(info.ModTime()) > time.Hour {
			_ = os.Remove(name) // it only takes up room
		}
	}
}

// tempNames are the names of files that are not whole yet.
const tempNames = ".loadline-*.tmp"

func replaceFile(name string, data []byte) error {
	return writeFile(name, true, func(f *os.File) error {
		_, err := f.Write(data)
		return err
	})
}

// writeFile writes a whole file under a temporary name beside it, flushes it and puts it in place.
// Without replace it never goes over a file that is there: the error is then fs.ErrExist.
func writeFile(name string, replace bool, write func(*os.File) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), tempNames)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = f.Close()           // the first error is the one to tell
			_ = os.Remove(f.Name()) // ours: nothing of it is wanted
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	if err := f.Chmod(0o644); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if replace {
		return os.Rename(f.Name(), name)
	}
	// A link fails where the name is taken, with no moment between looking and doing. File systems
	// without links get the look and the rename.
	if err := os.Link(f.Name(), name); err == nil {
		return os.Remove(f.Name())
	} else if errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, err := os.Lstat(name); err == nil {
		return fs.ErrExist
	}
	return os.Rename(f.Name(), name)
}
