package walk

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"slices"
)

// Reading a folder of a Mac with what the system says of each entry, many in one call (getattrlistbulk(2)). What is
// asked for and how it is answered is bytes; all numbers are from bsd/sys/attr.h, the order and sizes of attributes
// from bsd/vfs/vfs_attrlist.c of xnu 11417.101.15.

// Attributes of every entry.
const (
	cmnName       = 0x00000001
	cmnDevice     = 0x00000002
	cmnKind       = 0x00000008
	cmnModified   = 0x00000400
	cmnChanged    = 0x00000800
	cmnOwner      = 0x00008000
	cmnGroup      = 0x00010000
	cmnAccessMask = 0x00020000
	cmnFlags      = 0x00040000
	cmnFileID     = 0x02000000
	cmnError      = 0x20000000
	cmnReturned   = 0x80000000
)

// Attributes of folders, and of all else.
const (
	dirLinks       = 0x00000001
	dirMountStatus = 0x00000004
	dirAllocated   = 0x00000008
	dirBlockSize   = 0x00000010
	dirLength      = 0x00000020

	fileLinks     = 0x00000001
	fileAllocated = 0x00000004
	fileBlockSize = 0x00000008
	fileLength    = 0x00000200
)

// What else the numbers mean.
const (
	kindFile   = 1 // enum vtype, bsd/sys/vnode.h
	kindFolder = 2
	kindLink   = 5

	flagCompressed = 0x00000020 // UF_COMPRESSED, bsd/sys/stat.h
	flagFirmlink   = 0x00800000 // SF_FIRMLINK
	flagDataless   = 0x40000000 // SF_DATALESS
)

const (
	wantCommon = cmnReturned | cmnError | cmnName | cmnDevice | cmnKind | cmnModified | cmnChanged | cmnOwner | cmnGroup | cmnAccessMask | cmnFlags | cmnFileID
	wantDir    = dirLinks | dirMountStatus | dirAllocated | dirBlockSize | dirLength
	wantFile   = fileLinks | fileAllocated | fileBlockSize | fileLength

	// Without these an entry has to be looked at by itself.
	needCommon = cmnName | cmnKind | cmnModified | cmnChanged | cmnAccessMask | cmnFileID
	needFile   = fileLength
)

// bulkRequest is a struct attrlist: a count of groups and a reserved field of 16 bits each, then the groups common,
// volume, folder, file and fork of 32 bits each.
func bulkRequest() [24]byte {
	var b [24]byte
	binary.LittleEndian.PutUint16(b[0:], 5) // ATTR_BIT_MAP_COUNT
	binary.LittleEndian.PutUint32(b[4:], wantCommon)
	binary.LittleEndian.PutUint32(b[12:], wantDir)
	binary.LittleEndian.PutUint32(b[16:], wantFile)
	return b
}

// errBulk: the answer is not what the system documents.
var errBulk = errors.New("the system's answer about the folder cannot be read")

// A bulkEntry is one entry as the system answered of it.
type bulkEntry struct {
	Entry
	device uint64
	errno  uint32 // why it could not be looked at; 0 if it could
	again  bool   // look at it by itself: something is mounted there, or not all was answered
}

// A cursor reads fields one after the other. Each begins at a multiple of four bytes.
type cursor struct {
	b   []byte
	at  int
	bad bool
}

func (c *cursor) next(n int) []byte {
	if c.bad || len(c.b)-c.at < n {
		c.bad = true
		return make([]byte, n)
	}
	b := c.b[c.at : c.at+n]
	c.at += n
	return b
}

func (c *cursor) u32() uint32 { return binary.LittleEndian.Uint32(c.next(4)) }
func (c *cursor) u64() uint64 { return binary.LittleEndian.Uint64(c.next(8)) }

// text reads a reference to text that lies further on: how far from the reference, and how long with its NUL, 32 bits
// each (attrreference_t).
func (c *cursor) text() string {
	start := c.at
	off, n := int(int32(c.u32())), int(c.u32())
	if c.bad || off < 8 || n < 1 || start+off > len(c.b) || n > len(c.b)-start-off {
		c.bad = true
		return ""
	}
	text := c.b[start+off : start+off+n]
	if i := bytes.IndexByte(text, 0); i >= 0 {
		text = text[:i]
	}
	return string(text)
}

// decodeBulk reads n entries. Each is a length that counts itself, five groups of bits that tell which attributes
// follow, then those in the order of their bits; an error stands before the name.
func decodeBulk(b []byte, n int) ([]bulkEntry, error) {
	all := make([]bulkEntry, 0, n)
	for range n {
		if len(b) < 24 {
			return nil, errBulk
		}
		size := int(binary.LittleEndian.Uint32(b))
		if size < 24 || size > len(b) {
			return nil, errBulk
		}
		e, err := decodeEntry(b[:size])
		if err != nil {
			return nil, err
		}
		all = append(all, e)
		b = b[size:]
	}
	return all, nil
}

func decodeEntry(b []byte) (bulkEntry, error) {
	c := &cursor{b: b, at: 4}
	common, volume, dir, file, fork := c.u32(), c.u32(), c.u32(), c.u32(), c.u32()
	if common&^uint32(wantCommon) != 0 || volume != 0 || dir&^uint32(wantDir) != 0 || file&^uint32(wantFile) != 0 || fork != 0 {
		return bulkEntry{}, errBulk // sizes of what was not asked for are not known
	}
	e := bulkEntry{Entry: Entry{Blocks: -1, Links: 1}}
	if common&cmnError != 0 {
		e.errno = c.u32()
	}
	if common&cmnName != 0 {
		e.Name = c.text()
	}
	if common&cmnDevice != 0 {
		e.device = uint64(c.u32())
	}
	kind := uint32(0)
	if common&cmnKind != 0 {
		kind = c.u32()
	}
	if common&cmnModified != 0 {
		e.Sec, e.Nsec = int64(c.u64()), int32(c.u64())
	}
	if common&cmnChanged != 0 {
		sec, nsec := int64(c.u64()), int64(c.u64())
		e.Stamp = StampOf(sec*1e9 + nsec)
	}
	if common&cmnOwner != 0 {
		e.UID = c.u32()
	}
	if common&cmnGroup != 0 {
		e.GID = c.u32()
	}
	if common&cmnAccessMask != 0 {
		e.Perm = uint16(c.u32() & 0o7777)
	}
	flags := uint32(0)
	if common&cmnFlags != 0 {
		flags = c.u32()
	}
	if common&cmnFileID != 0 {
		e.Inode = c.u64()
	}
	if dir&dirLinks != 0 {
		e.Links = c.u32()
	}
	if dir&dirMountStatus != 0 {
		e.again = c.u32() != 0 // a mount point or what triggers a mount
	}
	if dir&dirAllocated != 0 {
		e.Blocks = int64(c.u64()) / 512
	}
	if dir&dirBlockSize != 0 {
		e.BlockSize = int32(c.u32())
	}
	if dir&dirLength != 0 {
		e.Size = int64(c.u64())
	}
	if file&fileLinks != 0 {
		e.Links = c.u32()
	}
	if file&fileAllocated != 0 {
		e.Blocks = int64(c.u64()) / 512
	}
	if file&fileBlockSize != 0 {
		e.BlockSize = int32(c.u32())
	}
	if file&fileLength != 0 {
		e.Size = int64(c.u64())
	}
	if c.bad || e.Name == "" || bytes.ContainsRune([]byte(e.Name), '/') || e.Size < 0 {
		return bulkEntry{}, errBulk
	}
	switch kind {
	case kindFile:
		e.Kind = File
	case kindFolder:
		e.Kind = Folder
	case kindLink:
		e.Kind = Link
	default:
		e.Kind = Other
	}
	e.setFlags(flags)
	e.again = e.again || flags&flagFirmlink != 0 || common&needCommon != needCommon || e.Kind != Folder && file&needFile != needFile
	return e, nil
}

// setFlags takes over the flags of a file of a Mac.
func (e *Entry) setFlags(flags uint32) {
	e.Compressed = flags&flagCompressed != 0
	e.Dataless = flags&flagDataless != 0
}

// bulkBuffer is how much one call may answer, bytes: some hundred entries.
const bulkBuffer = 128 << 10

// bulk reads folders many entries at a time. ask is getattrlistbulk(2): it returns how many entries it has put into a
// buffer, 0 at the end. Where a file system or an answer is not up to it, the folder is read the portable way.
type bulk struct {
	portable
	ask func(f *os.File, buf []byte) (n int, err error)
}

func (s *bulk) lister() lister {
	return &bulkLister{portableLister: portableLister{p: &s.portable}, ask: s.ask, buf: make([]byte, bulkBuffer)}
}

type bulkLister struct {
	portableLister
	ask func(f *os.File, buf []byte) (n int, err error)
	buf []byte
}

func (l *bulkLister) list(n *node, w *worker) (subs []node) {
	d := &w.dir
	f, err := l.open(n, d)
	if err != nil {
		d.Err = err
		return nil
	}
	batches, err := l.batches(f, w)
	f.Close()
	if batches == nil && err != nil || errors.Is(err, errBulk) {
		l.at.close()
		return l.portableLister.list(n, w)
	}
	d.Err = err
	total := 0
	for _, b := range batches {
		total += len(b)
	}
	d.Entries = w.grow(total)
	var bytes, counted, i int64
	for k, batch := range batches {
		for j := range batch {
			if i%countEvery == countEvery-1 {
				if w.stopped() {
					return subs
				}
				w.count(0, i-counted, bytes)
				counted, bytes = i, 0
			}
			subs = l.settle(n, d, int(i), &batch[j], &bytes, subs)
			i++
		}
		batches[k] = nil // a huge folder need not be there twice
	}
	w.count(0, i-counted, bytes)
	return subs
}

// batches asks until there is no more. Where it breaks off it returns what came before.
func (l *bulkLister) batches(f *os.File, w *worker) (all [][]bulkEntry, err error) {
	for {
		n, err := l.ask(f, l.buf)
		if err != nil {
			return all, &os.PathError{Op: "getattrlistbulk", Path: l.at.path, Err: err}
		}
		if n == 0 {
			return all, nil
		}
		batch, err := decodeBulk(l.buf, n)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(batch, func(e bulkEntry) bool { return e.errno != 0 }) {
			return nil, errBulk // of what could not be looked at not even the kind is told
		}
		all = append(all, batch)
		if w.stopped() {
			return all, nil
		}
	}
}

// settle puts the i-th entry in its place.
func (l *bulkLister) settle(n *node, d *Dir, i int, b *bulkEntry, bytes *int64, subs []node) []node {
	dev := b.device
	if dev == 0 {
		dev = d.Device
	}
	if b.again {
		info, err := l.at.lstat(b.Name)
		if err != nil {
			d.fail(i, b.Name, b.Kind, err)
			return subs
		}
		d.Entries[i] = Entry{Name: b.Name}
		dev = fill(&d.Entries[i], info)
	} else {
		d.Entries[i] = b.Entry
	}
	e := &d.Entries[i]
	switch e.Kind {
	case File:
		*bytes += e.Size
	case Folder:
		e.MountRoot = dev != d.Device
		subs = append(subs, child(n, e, dev))
	}
	return subs
}
