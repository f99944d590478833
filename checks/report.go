package checks

import (
	"iter"
	"time"

	"loadline/checks/share"
)

// Schema is the version of the JSON report: it grows when a key changes its meaning.
const Schema = 1

// Stage says which question a report answers.
type Stage string

// The stages.
const (
	Before  Stage = "before"
	After   Stage = "after"
	Arrival Stage = "arrival"
	Recheck Stage = "recheck"
)

// A Report is the only output of a run; window, text and JSON all render it.
type Report struct {
	Stage             Stage
	Version           string
	Started, Finished time.Time
	Source            Place
	Sources           []Disk // all of them, where several were checked as one job; nil otherwise
	Share             *Place // nil while no share is chosen
	Totals            Totals
	Verdict           Status // Passed, Warned or Failed
	Checks            []Result
	Machine           string // host, system, kernel and who ran it
	Unproven          string // what was not tried yet on this system; empty where everything was
	Manifest          string // file written by the stage after copying
	// Proof says how things were proven, what is missing for more, and what is known of a second copy: whole
	// sentences, to stand under the verdict. Only the stages after arrival and of rechecking have it.
	Proof []string
	// Invented, if set, says which facts are a demo's and not measured.
	Invented string
	// Interrupted is set where the person stopped the run; what had not ended is Unknown.
	Interrupted bool
	// Job is what was checked, with its places as they were settled. Places are compared by it, never
	// by what was typed.
	Job Job
	// Trial is what the write trial measured of the share; nil where none ran to its end.
	Trial *share.Result
	// Largest are the folders that hold the most bytes, themselves and below, most first.
	Largest []FolderSum
}

// A Place is the source or the share as it was found.
type Place struct {
	Path    string
	Prefix  string   // folder on the share that will hold the copy
	From    string   // device or host:/export
	Type    string   // file system type
	Options []string // mount options in force
	NameMax int      // longest name in bytes, as the file system says; 0 unknown
	Free    int64    // bytes; -1 unknown
	Total   int64    // bytes; -1 unknown
}

// Totals count the source.
type Totals struct {
	Files   int64 `json:"files"`
	Folders int64 `json:"folders"` // below the source; the source itself is not counted
	Links   int64 `json:"links"`
	Others  int64 `json:"others"`
	Bytes   int64 `json:"bytes"` // of files, hard links each, sparse files in full
}

// A FolderSum says what is in a folder and below.
type FolderSum struct {
	Path         string
	Source       int // which of Job.Disks it is on
	Files, Bytes int64
	Flagged      [3]int // findings by level
}

// A Result is one check as it ended.
type Result struct {
	Check    *Check
	ID       string
	Title    string
	Status   Status
	Summary  string // one line: the headline numbers and limits, or why it was not checked
	Reason   string // why it could not judge; empty otherwise
	Optional bool   // it was not asked for, and leaves the verdict as it is
	Facts    []Fact
	Rules    map[string]int64 // findings by rule, counted-only rules included
	Levels   [3]int           // findings by level
	Worst    map[string]Level // the worst level of each rule that has findings
	Findings []Finding        // sorted by path, then rule
}

// Result returns how a check ended, by its ID; nil where the report has no such check.
func (r *Report) Result(id string) *Result {
	for i := range r.Checks {
		if r.Checks[i].ID == id {
			return &r.Checks[i]
		}
	}
	return nil
}

// Findings are those of all checks, in the order of the checks.
func (r *Report) Findings() iter.Seq2[*Result, *Finding] {
	return func(yield func(*Result, *Finding) bool) {
		for i := range r.Checks {
			c := &r.Checks[i]
			for j := range c.Findings {
				if !yield(c, &c.Findings[j]) {
					return
				}
			}
		}
	}
}

// Fact returns what the check told under a key; the empty fact where it told nothing.
func (r *Result) Fact(key string) Fact {
	for _, f := range r.Facts {
		if f.Key == key {
			return f
		}
	}
	return Fact{}
}

// Verdict is the worst status; a check that could not look leaves the whole at best Warned, unless it is
// one that has to be asked for.
func Verdict(results []Result) Status {
	v := Passed
	for _, r := range results {
		switch {
		case r.Status == Failed:
			return Failed
		case r.Status != Passed && !(r.Status == Unknown && r.Optional):
			v = Warned
		}
	}
	return v
}
