package fix

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/bits"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// A reader goes through a file or a folder, on the source or wherever a link leads. What lies
// there may be a share whose server is gone, so no call to the system is waited for longer than
// patience.
type reader struct {
	ctx    context.Context
	follow bool        // through links, as if what they point to stood in their place
	fresh  bool        // content comes from the disk, not from the cache, where the system offers that
	cached bool        // some of it may have come from the cache all the same
	not    fs.FileInfo // a folder that must not be met on the way; may be nil
	chain  []fs.FileInfo
	buf    []byte
}

// A readError tells what could not be read, wherever that lies: it says nothing of the disk that is
// worked on.
type readError struct {
	what, path string
	err        error
}

func (e *readError) Error() string {
	return "cannot " + e.what + " " + names.Quote(e.path) + ": " + disk.WithoutPath(e.err).Error()
}

func (e *readError) Unwrap() error { return e.err }

// patience is how long one call may take: longer than a sleeping disk needs to start.
const patience = 60 * time.Second

// errSelf: a copy would have to hold itself.
var errSelf = errors.New("it contains the place where the copy would go, so the copy would contain itself")

// A visitor is told of one file, folder or link. Rel is relative to the top and empty for the top
// itself. Folders come before what is in them, siblings in order of their bytes.
type visitor func(rel, path string, info fs.FileInfo) error

func (r *reader) walk(top string, visit visitor) error { return r.visitFrom(top, "", visit) }

func (r *reader) visitFrom(path, rel string, visit visitor) error {
	look := os.Lstat
	if r.follow {
		look = os.Stat
	}
	info, err := share.Guard(r.ctx, patience, func() (fs.FileInfo, error) { return look(path) })
	if err != nil {
		return &readError{"look at", path, err}
	}
	switch walk.KindOf(info.Mode()) {
	case walk.File, walk.Link:
		return visit(rel, path, info)
	case walk.Folder:
	default:
		return fmt.Errorf("%s is neither a file nor a folder, so it cannot be copied", names.Quote(path))
	}
	if r.not != nil && os.SameFile(info, r.not) {
		return fmt.Errorf("%s: %w", names.Quote(path), errSelf)
	}
	for _, above := range r.chain {
		if os.SameFile(info, above) {
			return fmt.Errorf("%s leads back to a folder above it", names.Quote(path))
		}
	}
	if err := visit(rel, path, info); err != nil {
		return err
	}
	list, err := share.Guard(r.ctx, patience, func() ([]fs.DirEntry, error) { return readFolder(path) })
	if err != nil {
		return &readError{"list the folder", path, err}
	}
	r.chain = append(r.chain, info)
	defer func() { r.chain = r.chain[:len(r.chain)-1] }()
	for _, d := range list {
		if err := r.visitFrom(path+"/"+d.Name(), names.Join(rel, d.Name()), visit); err != nil {
			return err
		}
	}
	return nil
}

// openIn opens for reading and leaves the date of reading as it is, where the system offers that: a look
// changes nothing.
func openIn(root *os.Root, path string) (*os.File, error) {
	return disk.OpenGently(os.O_RDONLY, func(flags int) (*os.File, error) { return root.OpenFile(path, flags, 0) })
}

// openAt is openIn for a path of the whole system.
func openAt(path string) (*os.File, error) {
	return disk.OpenGently(os.O_RDONLY, func(flags int) (*os.File, error) { return os.OpenFile(path, flags, 0) })
}

// namesIn lists a folder that was just opened.
func namesIn(f *os.File, err error) ([]string, error) {
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return f.Readdirnames(-1)
}

// readFolder returns the entries of a folder in order of their bytes.
func readFolder(path string) ([]fs.DirEntry, error) {
	f, err := openAt(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list, err := f.ReadDir(-1)
	slices.SortFunc(list, func(a, b fs.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	return list, err
}

// content is an open file that is read from its start: past the cache, or in the usual way.
type content struct {
	*os.File
	past *disk.Reader // nil in the usual way
}

func (r *reader) open(path string) (content, error) {
	if !r.fresh {
		f, err := openAt(path)
		return content{File: f}, err
	}
	past, err := disk.OpenPast(path)
	if err != nil {
		return content{}, err
	}
	return content{past.File(), past}, nil
}

func (c content) ReadAt(p []byte, off int64) (int, error) {
	if c.past != nil {
		return c.past.ReadAt(p, off)
	}
	return c.File.ReadAt(p, off)
}

func (c content) Close() error {
	if c.past != nil {
		return c.past.Close()
	}
	return c.File.Close()
}

// copyTo writes the content of a file that visit was told of, and tells how many bytes after each
// piece. The file must stay as it is meanwhile.
func (r *reader) copyTo(w io.Writer, path string, info fs.FileInfo, told func(int64)) error {
	f, err := share.Guard(r.ctx, patience, func() (content, error) { return r.open(path) })
	if err != nil {
		return &readError{"read", path, err}
	}
	defer f.Close()
	if r.buf == nil {
		r.buf = disk.Buffer(1 << 20)
	}
	sum, ended := int64(0), false
	for !ended && sum <= info.Size() { // it may be growing for as long as it is read
		buf := r.buf
		n, err := share.Guard(r.ctx, patience, func() (int, error) { return f.ReadAt(buf, sum) })
		if ended = errors.Is(err, io.EOF); err != nil && !ended {
			r.buf = nil // a late answer may still be written there
			return &readError{"read", path, err}
		}
		if _, err := w.Write(buf[:n]); err != nil {
			return err
		}
		told(int64(n))
		sum += int64(n)
	}
	r.cached = r.cached || f.past != nil && f.past.Way() == disk.Cached
	now, err := share.Guard(r.ctx, patience, f.Stat)
	if err != nil {
		return &readError{"look at", path, err}
	}
	if sum != info.Size() || !os.SameFile(now, info) || now.Size() != info.Size() || !now.ModTime().Equal(info.ModTime()) {
		return fmt.Errorf("%w (%s was written to)", ErrChanged, names.Quote(path))
	}
	return nil
}

// A inventory is what a file or a folder holds, as names, kinds, sizes and dates tell it. Two that are
// equal hold the same, as far as can be told without reading it all.
type inventory struct {
	Files   int64 `json:"files"`
	Bytes   int64 `json:"bytes"`
	Listing raw32 `json:"listing"`
}

// raw32 is a sum of SHA-256 digests, one of each entry, modulo 2^256: the order of the entries does
// not matter, which differs between a folder and an archive of it.
type raw32 [4]uint64

func (s raw32) MarshalText() ([]byte, error) {
	var b [32]byte
	for i, w := range s {
		binary.LittleEndian.PutUint64(b[8*i:], w)
	}
	return []byte(hex.EncodeToString(b[:])), nil
}

func (s *raw32) UnmarshalText(text []byte) error {
	b, err := hex.DecodeString(string(text))
	if err != nil || len(b) != 32 {
		return errors.New("not 64 hexadecimal digits")
	}
	for i := range s {
		s[i] = binary.LittleEndian.Uint64(b[8*i:])
	}
	return nil
}

// add counts one entry. Dates count in whole seconds: disks and archives keep finer ones in
// different steps. Those of folders change with what is done in them, so they do not count.
func (t *inventory) add(rel string, kind walk.Kind, size int64, date time.Time, target string) {
	line := strconv.Itoa(int(kind)) + "\x00" + rel + "\x00"
	switch kind {
	case walk.File:
		t.Files++
		t.Bytes += size
		line += strconv.FormatInt(size, 10) + "\x00" + strconv.FormatInt(date.Unix(), 10)
	case walk.Link:
		line += target
	}
	digest := sha256.Sum256([]byte(line))
	carry := uint64(0)
	for i := range t.Listing {
		t.Listing[i], carry = bits.Add64(t.Listing[i], binary.LittleEndian.Uint64(digest[8*i:]), carry)
	}
}

// addEntry is the visitor that counts.
func (t *inventory) addEntry(rel, path string, info fs.FileInfo) error {
	target := ""
	if walk.KindOf(info.Mode()) == walk.Link {
		var err error
		if target, err = os.Readlink(path); err != nil {
			return &readError{"read the link", path, err}
		}
	}
	t.add(rel, walk.KindOf(info.Mode()), info.Size(), info.ModTime(), target)
	return nil
}

// inventoryOf tells what is at a path.
func inventoryOf(ctx context.Context, path string, follow bool, not fs.FileInfo) (t inventory, err error) {
	r := reader{ctx: ctx, follow: follow, not: not}
	return t, r.walk(path, func(rel, path string, info fs.FileInfo) error { return t.addEntry(rel, path, info) })
}

// identity is what tells a file from others: a step is only taken on the file that was planned.
type identity struct {
	Kind   walk.Kind `json:"kind"`
	Device uint64    `json:"device,omitempty"` // 0 where the system does not say
	Inode  uint64    `json:"inode,omitempty"`
	Size   int64     `json:"size"`
	Sec    int64     `json:"sec"`
	Nsec   int32     `json:"nsec"`
}

func (id identity) modTime() time.Time { return time.Unix(id.Sec, int64(id.Nsec)) }

// unchanged reports whether this is still the file that was planned. The size and date of a folder
// say nothing: they change with what is renamed in it. Where inode numbers are made up while the
// disk is mounted they say nothing either.
func (id identity) unchanged(planned identity, lasting bool) bool {
	if !id.same(planned, lasting) || lasting && !id.sameDevice(planned) {
		return false
	}
	if id.Kind != walk.File {
		return true
	}
	return id.Size == planned.Size && id.Sec == planned.Sec && id.Nsec == planned.Nsec
}

// sameDevice reports whether both are on one device, as far as the system says. On macOS its number is one
// of 32 bits with a sign, which is not widened in the same way everywhere.
func (id identity) sameDevice(planned identity) bool {
	return id.Device == 0 || planned.Device == 0 || uint32(id.Device) == uint32(planned.Device)
}

// same reports whether this is the same file, even if it was written to since. The device is not
// asked: its number changes when the disk is plugged in again.
func (id identity) same(planned identity, lasting bool) bool {
	if id.Kind != planned.Kind {
		return false
	}
	return !lasting || id.Inode == 0 || planned.Inode == 0 || id.Inode == planned.Inode
}

// identify takes from what the system said of a file what tells it from others.
func identify(info fs.FileInfo) identity {
	state := disk.StateOf(info)
	return identity{
		Kind: walk.KindOf(info.Mode()), Device: state.Device, Inode: state.Number, Size: info.Size(),
		Sec: info.ModTime().Unix(), Nsec: int32(info.ModTime().Nanosecond()),
	}
}
