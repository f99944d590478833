// Package trace is how the window tells tests that drive it from outside what it shows, and where: they must know
// and must not guess pixels. A window that finds the name of a file in the environment variable LOADLINE_TRACE
// appends one JSON object a line to it, each line in one write: the whole State, every time that anything in it
// differs from the line before. The window looks ten times a second; nothing is written where nothing changed, and
// nothing at all without the variable.
//
//	{"state":"idle","page":"checks","theme":"light","source":"/tmp/x/archive","share":"/tmp/x/share",
//	 "scale":1,"at":{"check":[1100,90,132,44],"save":[1130,30,120,34]}}
package trace

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
)

// Env names the file that takes the trace.
const Env = "LOADLINE_TRACE"

// A State is one line of the trace.
type State struct {
	// State is "idle" before the first run, "running", "done" after a whole run, "stopped" after one that was cut
	// off, "error" where a run could not begin.
	State   string            `json:"state"`
	Page    string            `json:"page,omitempty"` // what fills the window: "checks", "files", "fix", "split"
	Stage   string            `json:"stage,omitempty"`
	Verdict string            `json:"verdict,omitempty"` // after a run: "pass", "warn" or "fail"
	Checks  map[string]string `json:"checks,omitempty"`  // of every card: ID, and "pass", "warn", "fail", "unknown", "waiting" or "running"
	Open    string            `json:"open,omitempty"`    // ID of the card that is open, if any
	Source  string            `json:"source,omitempty"`  // text of the field; share and prefix likewise
	Share   string            `json:"share,omitempty"`
	Prefix  string            `json:"prefix,omitempty"`
	Filter  string            `json:"filter,omitempty"` // text of the filter on the page of flagged files
	Rows    int               `json:"rows,omitempty"`   // of the list on this page, and how many there are without the filter
	Total   int               `json:"total,omitempty"`
	Dialog  string            `json:"dialog,omitempty"`  // name of the dialog in front: "save", "overwrite", "close", "keys", …
	Focus   string            `json:"focus,omitempty"`   // name of the element that has the keyboard
	Saved   string            `json:"saved,omitempty"`   // absolute path of the report that was written last, once it is whole on the disk
	Message string            `json:"message,omitempty"` // the sentence last shown to the person: an error, a hint, a success
	Theme   string            `json:"theme,omitempty"`   // "light" or "dark"
	Scale   float32           `json:"scale,omitempty"`   // pixels of the screen for one unit of the canvas
	At      map[string]Rect   `json:"at,omitempty"`      // where every named element is that is on screen
	Lag     int64             `json:"lag_ms,omitempty"`  // the longest wait for the window so far, up to the next 10
}

// A Rect is where an element is: left, top, width and height in pixels, from the top left corner of the window's
// content.
type Rect [4]int

// Center is the middle of it.
func (r Rect) Center() (x, y int) { return r[0] + r[2]/2, r[1] + r[3]/2 }

// Read returns every whole line of a trace; none if the file is not there yet.
func Read(path string) ([]State, error) {
	b, err := os.ReadFile(path)
	if os.IsNotExist(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var all []State
	for line := range bytes.Lines(b) {
		if line[len(line)-1] != '\n' {
			break // being written
		}
		var s State
		if err := json.Unmarshal(line, &s); err != nil {
			return nil, fmt.Errorf("trace line %d: %w", len(all)+1, err)
		}
		all = append(all, s)
	}
	return all, nil
}
