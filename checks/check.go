// Package checks judges whether a folder will arrive as named and in time when it is copied to a
// network share. It holds the vocabulary (Check, Rule, Finding, Pass, Report), the checks
// themselves, one file a family, and their order. It changes nothing on the source.
package checks

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"loadline/checks/walk"
)

// Level says how bad one finding is. A note never changes a status.
type Level uint8

// The levels, from harmless to decisive.
const (
	Note Level = iota
	Warn
	Fail
)

// String returns the word that reports use.
func (l Level) String() string { return [...]string{"note", "warn", "fail"}[l] }

// MarshalText writes the word that reports use.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// Status is what became of a check. It is derived from findings and never set by a check.
type Status uint8

// The statuses of a finished check, then the two of one that is not finished.
const (
	Passed Status = iota
	Warned
	Failed
	Unknown // the check could not look; shown as "Not checked" with the reason
	Waiting
	Running
)

// String returns the word of the JSON report.
func (s Status) String() string {
	return [...]string{"pass", "warn", "fail", "unknown", "waiting", "running"}[s]
}

// Word returns the word that people read.
func (s Status) Word() string {
	return [...]string{"Good", "Take care", "Fix first", "Not checked", "Waiting", "Checking"}[s]
}

// MarshalText writes the word of the JSON report.
func (s Status) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// A Rule is one thing that can be wrong. Its texts feed the window, both reports and the handbook.
type Rule struct {
	ID     string // stands in findings, JSON, tests and docs
	Level  Level  // the usual level; a finding may carry another where the share was measured
	When   string // what triggers it, as a clause: "the name contains a line break"
	Fix    string // what the person can do
	Source string // where the number or the fact comes from
	// Counted rules appear as a number only, never as findings: they would name most files.
	Counted bool
}

// A Group gathers cards that answer one part of the question.
type Group string

// The groups in the order in which they are shown.
const (
	GroupShare   Group = "The share"
	GroupNames   Group = "Names and paths"
	GroupFiles   Group = "Files"
	GroupTime    Group = "Time"
	GroupCopy    Group = "The copy"
	GroupArrival Group = "The arrival"
)

// A Check is one question with its rules. Checks are values: declare one in the file of its family
// and add it to the list of its stage.
type Check struct {
	ID    string // lower case, hyphens: the key in JSON
	Title string // asserts the good state: "The share is mounted"
	Doc   string // what is looked at and why it matters, in whole sentences
	Fix   string // the first thing to do when it does not pass
	Group Group
	Rules []*Rule

	// Needs ran before. If one of them could not judge, this check cannot either.
	Needs []*Check

	// NeedsShare marks a check that has nothing to say while no share is chosen.
	NeedsShare bool

	// Begin, if set, returns the state of one run (see Pass.State).
	Begin func(*Pass) any

	// Visit sees every folder of the source once. It is called concurrently, but never twice at
	// a time with the same d.Worker. Nil if the check ignores files.
	Visit func(*Pass, *walk.Dir)

	// Finish concludes. An error means that the check could not judge, never that it found
	// something. Nil if Visit says it all.
	Finish func(context.Context, *Pass) error
}

// Validate reports every fault of a list of checks: missing texts, doubled IDs, a need that does
// not stand earlier in the list (which also rules out cycles), a check that never looks.
func Validate(list []*Check) error {
	var errs []error
	bad := func(c *Check, format string, args ...any) {
		errs = append(errs, fmt.Errorf("check %q: %s", c.ID, fmt.Sprintf(format, args...)))
	}
	seen := map[*Check]bool{}
	ids := map[string]bool{}
	rules := map[string]*Rule{}
	for _, c := range list {
		if !validID(c.ID) {
			bad(c, "the ID must be lower-case words with hyphens")
		}
		if ids[c.ID] {
			bad(c, "the ID is used twice")
		}
		ids[c.ID] = true
		for what, text := range map[string]string{"Title": c.Title, "Doc": c.Doc, "Fix": c.Fix, "Group": string(c.Group)} {
			if strings.TrimSpace(text) == "" {
				bad(c, "%s is empty", what)
			}
		}
		if c.Visit == nil && c.Finish == nil {
			bad(c, "has neither Visit nor Finish, so it can never look")
		}
		if len(c.Rules) == 0 {
			bad(c, "has no rules, so it can never find anything")
		}
		for _, r := range c.Rules {
			if !validID(r.ID) || r.When == "" || r.Fix == "" || r.Source == "" {
				bad(c, "rule %q lacks an ID, When, Fix or Source", r.ID)
			}
			// share-full is one rule of two checks; any other sharing is a slip.
			if o := rules[r.ID]; o != nil && o != r {
				bad(c, "rule %q is declared twice", r.ID)
			}
			rules[r.ID] = r
		}
		for _, n := range c.Needs {
			if !seen[n] {
				bad(c, "needs %q, which does not come before it", n.ID)
			}
		}
		seen[c] = true
	}
	return errors.Join(errs...)
}

func validID(s string) bool {
	if s == "" || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return false
	}
	return !strings.HasPrefix(s, "-") && !strings.HasSuffix(s, "-") && !strings.Contains(s, "--")
}
