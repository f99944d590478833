package walk

import (
	"errors"
	"io/fs"
	"math"
)

// A handle looks closer at the entries of one open folder.
type handle interface {
	readlink(name string) (string, error)
	head(name string, p []byte) (int, error)
	access(e *Entry) error
	xattrs(name string) ([]string, error)
}

var errNotVisiting = errors.New("the folder is not open")

// closer asks the system about an entry, during the visit only.
func closer[T any](d *Dir, op, name string, ask func(at handle, name string) (T, error)) (T, error) {
	if d.at == nil {
		var none T
		return none, &fs.PathError{Op: op, Path: d.Join(name), Err: errNotVisiting}
	}
	d.by.enter()
	answer, err := ask(d.at, name)
	d.by.leave()
	return answer, err
}

// Readlink returns what a link points to: raw bytes as they stand in the link. Like all methods
// that ask the system it works during the visit only, from the goroutine of the visit, and costs
// one system call.
func (d *Dir) Readlink(name string) (string, error) {
	return closer(d, "readlink", name, handle.readlink)
}

// Head reads the first bytes of a plain file into p, as many as there are, without following a link and
// without waiting at a FIFO. Read plain files only: opening a device may set it in motion.
func (d *Dir) Head(name string, p []byte) (int, error) {
	// The visitor's memory must not change once Walk has returned, so the read has its own.
	own := make([]byte, len(p))
	n, err := closer(d, "open", name, func(at handle, name string) (int, error) { return at.head(name, own) })
	return copy(p, own[:n]), err
}

// Access returns nil if the effective user may read the entry, for a folder also search it, as
// the system judges: access lists and capabilities included. A link is judged itself. Where owner
// and permission bits already settle it the system is not asked, which makes most calls free.
func (d *Dir) Access(name string) error {
	_, err := closer(d, "access", name, func(at handle, name string) (struct{}, error) {
		return struct{}{}, at.access(d.entry(name))
	})
	return err
}

// Xattrs returns the names of the extended attributes of an entry, of a link those of the link
// itself; on macOS AccessList is among them where it has an access list. None on systems that are
// neither Linux nor macOS, and on file systems without.
func (d *Dir) Xattrs(name string) ([]string, error) {
	return closer(d, "list attributes of", name, handle.xattrs)
}

// entry finds an entry by its name. Visitors go through Entries in order, so it begins where it
// found the one before. A name that is not there is taken for a file that could not be looked at.
func (d *Dir) entry(name string) *Entry {
	for i := range d.Entries {
		j := d.last + i
		if j >= len(d.Entries) {
			j -= len(d.Entries)
		}
		if d.Entries[j].Name == name {
			d.last = j
			return &d.Entries[j]
		}
	}
	return &Entry{Name: name, Failed: true}
}

// fail marks the entry of index i as one that could not be looked at.
func (d *Dir) fail(i int, name string, kind Kind, err error) {
	d.Entries[i] = Entry{Name: name, Kind: kind, Blocks: -1, Links: 1, Failed: true}
	if d.why == nil {
		d.why = map[string]error{}
	}
	d.why[name] = err
}

// AddSizes adds sizes. A few sparse files can claim more bytes than an int64 counts; the sum then stays
// at its most, which fits nowhere.
func AddSizes(a, b int64) int64 {
	if a > math.MaxInt64-b {
		return math.MaxInt64
	}
	return a + b
}
