// Package walk passes once over a disk, in parallel, and hands over one folder at a time with
// what the file system says of every entry. It never follows a link and changes nothing.
package walk

import (
	"context"
	"errors"
	"runtime"
	"strings"
	"sync/atomic"
	"time"

	"loadline/checks/internal/disk"
)

// Kind is what an entry is.
type Kind uint8

// The kinds. Other is everything that is neither of the first three: FIFOs, sockets, devices.
const (
	File Kind = iota
	Folder
	Link
	Other
)

// An Entry is one name in a folder. It is kept small: a folder may hold a million.
type Entry struct {
	Name      string // raw bytes, no "/", never "." or ".."
	Size      int64  // bytes
	Blocks    int64  // allocated, in units of 512 bytes; -1 where the system does not say
	Inode     uint64 // 0 where the system does not say
	Sec       int64  // modification time, seconds since 1970
	Nsec      int32
	BlockSize int32  // st_blksize
	Links     uint32 // link count; 1 where the system does not say
	UID, GID  uint32
	Stamp     uint32 // of the status change time, see StampOf; 0 where the system does not say
	Perm      uint16 // permission bits with set-uid, set-gid and sticky as in st_mode & 07777
	Kind      Kind
	Failed    bool // it was listed but could not be looked at: see Dir.Why. Only Name and Kind hold
	MountRoot bool // another file system is mounted here

	// Compressed: the file system keeps it smaller than it is. Dataless: its content lies elsewhere and comes only when it
	// is read. Both make it take up less than its size without holes.
	Compressed, Dataless bool
}

// ModTime returns the modification time.
func (e *Entry) ModTime() time.Time { return time.Unix(e.Sec, int64(e.Nsec)) }

// StampOf folds a status change time (nanoseconds since 1970) into what an Entry has room for. Another stamp
// tells that a file was changed, even where its other dates were set back.
func StampOf(changed int64) uint32 {
	return max(uint32(uint64(changed)*0x9e3779b97f4a7c15>>32), 1)
}

// A Dir is one folder as its visitor sees it. Nothing in it may be kept after the visit, except
// strings.
type Dir struct {
	Path    string // relative to the root, "/" between parts; "" is the root itself
	Depth   int    // number of parts of Path
	Entries []Entry
	Err     error // the listing failed or broke off; Entries holds what came before
	Worker  int   // 0 ≤ Worker < number of workers: index of state that needs no lock
	Device  uint64
	// Source is for callers who walk over several disks with one Visit: they set it; it is 0 otherwise.
	Source int
	// Loop is set instead of Entries where this folder is one of its own ancestors again (a
	// bind mount); it is not entered.
	Loop bool

	why  map[string]error
	at   handle  // what the methods that look closer work on; nil outside of a visit
	by   *worker // who visits
	last int     // where entry found the entry before
}

// Why returns why an entry could not be looked at, nil if it could.
func (d *Dir) Why(name string) error { return d.why[name] }

// Join returns the path of an entry relative to the root, in memory of its own: keeping it keeps no more.
func (d *Dir) Join(name string) string {
	if d.Path == "" {
		return strings.Clone(name)
	}
	return d.Path + "/" + name
}

// Progress is read by anybody while a walk runs.
type Progress struct {
	Folders, Entries, Bytes atomic.Int64
}

// Options are the wishes of a caller; the zero value is useful but for Visit.
type Options struct {
	// Visit is called once for every folder, the root included, concurrently from up to
	// Workers goroutines. Folders that cannot be opened are visited too, with Err set.
	Visit func(*Dir)

	// Workers is how many folders are read at a time; 0 chooses by the medium of root. A caller
	// who keeps state per worker needs the number before the walk begins: see Resolve.
	Workers int

	// Progress, if set, is counted up while the walk runs: once a folder, and now and then
	// inside a huge one. Folders includes the root; Bytes are those of plain files.
	Progress *Progress
}

// Resolve settles Workers, by the medium of root where it is 0, and returns it: d.Worker will be
// less.
func (o *Options) Resolve(root string) int {
	if o.Workers <= 0 {
		o.Workers = DefaultWorkers(root)
	}
	return o.Workers
}

// ErrVisiting is wrapped in what Walk returns where the walk was cancelled and a visitor would not
// end: it may run on, so its state must not be read.
var ErrVisiting = errors.New("a visit is still going on")

// Walk visits the folder root and every folder below it, each once, in no particular order.
// Links are never followed, but root itself may be one; other file systems mounted below are
// entered. Every entry that is a Folder and has not Failed is visited, as soon as its parent has
// been listed: not necessarily after its parent's visit has begun.
//
// The error is nil unless root itself cannot be opened or listed, or ctx is done. Then Walk
// returns at once, even if the file system has stopped responding: goroutines that hang in the
// system are left to themselves and end when it lets them go. No visitor runs on after Walk has
// returned, deferred calls aside: a visit that is going on when ctx is done is waited for, and
// ended by runtime.Goexit at its next call of a method of Dir that asks the system. Only one that
// neither returns nor makes such a call within two seconds is given up, with ErrVisiting.
//
// Memory is bounded by the number of folders that wait, and by the entries of the largest folders
// (about 100 bytes each) that are visited at a time.
func Walk(ctx context.Context, root string, o Options) error {
	o.Resolve(root)
	return run(ctx, o, newSystem(root))
}

// DefaultWorkers returns how many folders of root to read at a time: few where every one more
// makes a disk seek, many where each waits for a round trip, else what keeps all cores busy.
// It asks the system, for at most five seconds.
func DefaultWorkers(root string) int {
	answer := make(chan disk.Medium, 1)
	go func() { answer <- disk.MediumOf(root) }()
	patience := time.NewTimer(5 * time.Second)
	defer patience.Stop()
	select {
	case m := <-answer:
		return workersFor(&m, runtime.GOMAXPROCS(0))
	case <-patience.C:
		// What keeps one waiting so long is a server, or a disk that has to start to turn. Few workers do
		// little harm on the one, many do much on the other.
		return seekingWorkers
	}
}

const (
	seekingWorkers = 2
	networkWorkers = 32
	mostWorkers    = 16
)

func workersFor(m *disk.Medium, cores int) int {
	switch {
	case m.Network == disk.Yes:
		return networkWorkers
	case m.Seeks():
		return seekingWorkers
	case m.Memory || m.Rotates == disk.No:
		return min(max(cores, 2), mostWorkers)
	}
	return min(max(cores, 4), mostWorkers)
}
