package disk

import (
	"fmt"
	"time"

	"github.com/dustin/go-humanize/english"
)

// A Sign is a kind of bad sign of a disk.
type Sign string

// The signs.
const (
	FileSystemErrors Sign = "file-system-errors" // the kernel found the file system's own structures wrong
	ReadErrors       Sign = "read-errors"
	WriteErrors      Sign = "write-errors"
	FlushErrors      Sign = "flush-errors"
	ChecksumErrors   Sign = "checksum-errors"  // what was read is not what was written
	LostWrites       Sign = "lost-writes"      // a block is older than it should be
	TurnedReadOnly   Sign = "turned-read-only" // the kernel stopped all writes after an error
	HealthFailing    Sign = "health-failing"   // the disk's own report says that it is failing
	BadSectors       Sign = "bad-sectors"      // which the disk itself knows of
	HealthWarning    Sign = "health-warning"   // the disk's own report has a warning: Detail
)

// A Trouble is one bad sign. There being none is not a good sign: over a third of the disks that failed had shown
// none in any of their own counters (Pinheiro et al., Failure Trends in a Large Disk Drive Population, FAST 2007).
type Trouble struct {
	Sign   Sign
	Device string    // the system's name of the disk or volume, such as sda1
	Count  uint64    // how many; 0 where it is not a matter of number
	Last   time.Time // when it was last seen; zero if unknown
	Detail string    // of a warning: the disk's own word for it
}

// String says it for people.
func (t *Trouble) String() string {
	switch t.Sign {
	case TurnedReadOnly:
		return fmt.Sprintf("the system has stopped all writing to %s after an error", t.Device)
	case HealthFailing:
		return fmt.Sprintf("%s reports that it is failing", t.Device)
	case HealthWarning:
		return fmt.Sprintf("%s warns of its health: %s", t.Device, t.Detail)
	case BadSectors:
		return fmt.Sprintf("%s knows of %s", t.Device, english.Plural(int(t.Count), "bad sector", ""))
	}
	s := string(t.Sign)
	if what, ok := countedSigns[t.Sign]; ok {
		s = english.Plural(int(t.Count), what[0], "") + what[1]
	}
	if !t.Last.IsZero() {
		s += ", last on " + t.Last.Format("2 January 2006")
	}
	return fmt.Sprintf("the system has counted, on %s, %s", t.Device, s)
}

// countedSigns are the signs that the system counts: what, and what is wrong with it.
var countedSigns = map[Sign][2]string{
	FileSystemErrors: {"error", " of the file system"},
	ReadErrors:       {"read", " that failed"},
	WriteErrors:      {"write", " that failed"},
	FlushErrors:      {"flush", " that failed"},
	ChecksumErrors:   {"block", " whose checksum was wrong"},
	LostWrites:       {"block", " that was older than it should be"},
}
