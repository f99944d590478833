// Package share looks at the folder that is to take a copy: where it is mounted, with which
// options, how much fits, and, in a write trial, what it does with bytes and names. Every call
// that may touch the share gives up after a deadline: a share whose server is gone must never
// hold up the caller.
package share

import (
	"errors"
	"time"
)

// Errors that callers tell apart with errors.Is.
var (
	// ErrSilent: no response within the deadline. The call may still hang in the system.
	ErrSilent = errors.New("the share does not respond")
	// ErrBusy: too many calls hang already; nothing more is asked until one comes back.
	ErrBusy = errors.New("earlier calls to the share still hang")
	// ErrNotFolder: there is something at the path, but no folder.
	ErrNotFolder = errors.New("this is not a folder")
)

// DefaultDeadline is how long a call to a share may stay silent where the caller does not say
// otherwise (common practice, no source).
const DefaultDeadline = 10 * time.Second

// A Mount is one row of the mount table with the options in force.
type Mount struct {
	From    string   // device, or host:/export
	Point   string   // where it is mounted
	Root    string   // folder of the file system that shows there; "/" but for bind mounts
	Type    string   // file system type: nfs, nfs4, ext4 …
	Options []string // in force, those of the mount first, then those of the file system
	ID      int      // number of the row, 0 where the system has none
	Parent  int
	Device  uint64 // as st_dev says; 0 where unknown
	// Status is what the system says of how the mount is at the moment: "not responding", "dead", "recovery".
	Status []string
}

// Hangs returns what the system says of a mount whose server is gone, "" where it says nothing like it.
func (m *Mount) Hangs() string {
	for _, s := range m.Status {
		if s == "not responding" || s == "dead" {
			return s
		}
	}
	return ""
}

// Option returns the value of an option in force ("1048576" of wsize), "" and true where it
// stands without one.
func (m *Mount) Option(name string) (value string, ok bool) {
	for _, o := range m.Options {
		if len(o) >= len(name) && o[:len(name)] == name {
			if len(o) == len(name) {
				return "", true
			}
			if o[len(name)] == '=' {
				return o[len(name)+1:], true
			}
		}
	}
	return "", false
}

// Space is what statfs says. A negative number means that the system does not say.
type Space struct {
	Free, Total             int64 // bytes an ordinary user may still write; bytes in all
	FreeInodes, TotalInodes int64 // TotalInodes 0 means unknown (statfs(2))
	NameLimit               int   // longest name in bytes; 0 unknown
	Magic                   int64 // f_type; 0x6969 is NFS; 0 where there is none
}

// Facts is what can be learned of the share without writing to it.
type Facts struct {
	Path     string // absolute, links resolved
	Mount    Mount
	Space    Space
	Device   uint64 // st_dev of Path
	Network  bool   // a network file system
	NFS      bool
	Version  string   // of the protocol: "3", "4.2"; "" unknown
	System   bool     // the row is the system's own: it covers "/" or the person's home
	Platform Platform // whose client has mounted it; "" means this system's
	Invented string   // not empty: the facts are a stand-in's, and this says which
}

// On is the platform whose client has mounted the share.
func (f *Facts) On() Platform {
	if f.Platform == "" {
		return ThisPlatform()
	}
	return f.Platform
}

// Wishes bound the write trial; the zero value is useful.
type Wishes struct {
	Bytes    int64         // most bytes of the stream; 0 means 1 % of free space, at most 256 MiB
	Time     time.Duration // longest stream; 0 means 8 s
	Files    int           // small files to time; 0 means 100
	Deadline time.Duration // longest silence of one call; 0 means 10 s
	// Progress, if set, is told how far the trial is, from 0 to 1, and what it does.
	Progress func(done float64, doing string)

	// overdue, for tests, ends the patience with the call that is under way once it is closed.
	overdue <-chan struct{}
	// clock, for tests, is what rates and times are taken from; nil means time.Now.
	clock func() time.Time
}

// Result is what the write trial measured.
type Result struct {
	Problems []Problem // what went wrong, in order; empty if all went well

	NameLimit  int       // longest name taken, bytes, as measured; 0 not measured
	CutsShort  bool      // a name over the limit was taken or came back changed
	FoldsCase  bool      // made "A", "a" opens
	FoldsForms bool      // a name in NFD comes back in NFC, or either opens the other
	Refused    []Refusal // names the share refuses or changes, by character
	NamesTried bool      // the four above were measured

	Unit       int64         // bytes that a one-byte file takes up on the share; 0 not measured
	Rate       float64       // bytes a second of the stream, fsync included; 0 not measured
	RateLow    float64       // of the slowest quarter of the stream
	RateHigh   float64       // of the fastest quarter
	PerFile    time.Duration // median time to make, write, flush and close a small file
	Written    int64         // bytes of the stream
	ClockAhead time.Duration // server's clock less ours
	ClockKnown bool
	PastCache  string   // the system's means of reading past its cache, such as "O_DIRECT"; "" none
	FromCache  bool     // it was read back, and may have come from this computer's memory
	LeftBehind []string // marked trial folders of earlier runs, paths on the share
	Own        string   // the trial folder of this run where it may still be there: it could not be removed
}

// A Refusal is one character, or one habit of names, that the share does not keep.
type Refusal struct {
	Rune  rune   // the character; 0 where Habit speaks
	Habit string // one of the Habit constants
	Err   error  // what the share answered; nil where it took the name but changed it
	Back  string // the name as it came back, where it was changed
}

// A Problem is one thing that the trial found, under the rule that it breaks.
type Problem struct {
	Rule   string // an ID of the rulebook: share-read-only, share-denied, write-lost …
	Detail string
	Err    error
}
