package gui

import (
	"encoding/json"
	"errors"
	"io"
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
	return checks.Replace(filepath.Join(dir, choicesFile), func(out io.Writer) error {
		_, err := out.Write(append(b, '\n'))
		return err
	})
}

// sweep removes what a start that was cut off left half written in the state folder.
func sweep(dir string, now time.Time) {
	checks.Sweep(dir, time.Hour, now, func(file string) bool {
		last, err := filepath.Match(lastFiles, file)
		return file == choicesFile || last && err == nil
	})
}
