package e2e

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
)

// TraceEnv names the file that takes the trace.
const TraceEnv = "LOADLINE_TRACE"

// A State is one line of the trace: what the window shows and where.
type State struct {
	State   string            `json:"state"`
	Page    string            `json:"page,omitempty"`
	Verdict string            `json:"verdict,omitempty"`
	Checks  map[string]string `json:"checks,omitempty"`
	Open    string            `json:"open,omitempty"`
	Source  string            `json:"source,omitempty"`
	Share   string            `json:"share,omitempty"`
	Prefix  string            `json:"prefix,omitempty"`
	Filter  string            `json:"filter,omitempty"`
	Rows    int               `json:"rows,omitempty"`
	Total   int               `json:"total,omitempty"`
	Dialog  string            `json:"dialog,omitempty"`
	Focus   string            `json:"focus,omitempty"`
	Saved   string            `json:"saved,omitempty"`
	Message string            `json:"message,omitempty"`
	Theme   string            `json:"theme,omitempty"`
	Scale   float32           `json:"scale,omitempty"`
	At      map[string]Rect   `json:"at,omitempty"`
	Lag     int64             `json:"lag_ms,omitempty"`
}

// A Rect is where an element is: left, top, width and height in pixels of the window.
type Rect [4]float32

// Center is the middle of it, in whole pixels.
func (r Rect) Center() (x, y int) { return int(r[0] + r[2]/2), int(r[1] + r[3]/2) }

// ReadTrace returns every whole line of a trace; none if the file is not there yet.
func ReadTrace(path string) ([]State, error) {
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
