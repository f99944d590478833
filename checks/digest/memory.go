package digest

import (
	"bufio"
	"cmp"
	"context"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/share"
)

// A Memory is what was read of one disk or share, in earlier runs and in this one: which state of a file
// had which sums, or where it could not be read. It is in a file that runs only add to; Close may write it anew
// without what no longer counts. A record that was cut or damaged does not count. Its methods may be called on nil,
// and concurrently.
//
// In memory it takes 16 bytes a record; the file has 128 bytes each.
type Memory struct {
	name  string
	index []remembered // by ident; of equal ones the newest is last

	mu     sync.Mutex
	in     *os.File // nil: nothing was remembered
	kin    map[Ident]int64
	file   *os.File // opened by the first Add
	locked *os.File // held meanwhile
	added  int64
	out    *bufio.Writer
	synced time.Time
	Every  time.Duration // how much time of reading a crash may cost
	err    error
}

// MemoryError is the key of the fact that what was read could not be remembered, and why.
const MemoryError = "memory_error"

type remembered struct {
	ident Ident
	at    int64 // number of the record in the file
}

// A Record is what was found of one state of a file.
type Record struct {
	Ident Ident
	Kin   Ident // of the file in whatever state; see Places.KinOf
	When  time.Time
	Sums  sums.Sums
	// Of a file that could not be read: where that began and how many bytes are lost. Lost is 0 for one that
	// was read whole.
	Bad, Lost int64
}

// Whole reports whether the file was read to its last byte.
func (r *Record) Whole() bool { return r.Lost == 0 }

const (
	memoryFirst = "loadline read 2\n"
	recordSize  = 128
	// rememberEvery is how much time of reading a crash may cost.
	rememberEvery = 5 * time.Second
)

// Recall opens what is remembered of a disk or share in the state folder of this computer. Nothing is
// written before Begin or the first Add. The error says why what was remembered cannot be used; the Memory can be
// used all the same.
func Recall(state, id string) (*Memory, error) {
	if state == "" {
		return nil, nil
	}
	sum := sha256.Sum256([]byte(id))
	m := &Memory{name: filepath.Join(state, "read", fmt.Sprintf("%x.log", sum[:8])), Every: rememberEvery, synced: time.Now()}
	f, err := os.Open(m.name)
	if errors.Is(err, fs.ErrNotExist) {
		return m, nil
	}
	if err != nil {
		return m, err
	}
	if err := m.load(f); err != nil {
		return m, errors.Join(err, f.Close())
	}
	if len(m.index) == 0 {
		return m, f.Close() // there is nothing to find in it, and a file that is open cannot be replaced on Windows
	}
	m.in = f
	return m, nil
}

// recallPatience is how long reading what is remembered may take: it is 128 MB for a million files.
const recallPatience = 2 * time.Minute

// RecallIn is Recall that waits for a state folder that does not respond no longer than ctx lasts.
func RecallIn(ctx context.Context, state, id string) (*Memory, error) {
	m, err := share.Guard(ctx, recallPatience, func() (*Memory, error) { return Recall(state, id) })
	if share.Silent(err) {
		err = ErrStateSilent
	}
	return m, err
}

// ErrStateSilent says why nothing is remembered.
var ErrStateSilent = errors.New("the folder where this computer keeps its records does not respond")

// load reads the index.
func (m *Memory) load(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	in := bufio.NewReaderSize(f, 1<<18)
	first := make([]byte, len(memoryFirst))
	if _, err := io.ReadFull(in, first); err != nil || string(first) != memoryFirst {
		return nil // another version: forgotten
	}
	index := make([]remembered, 0, info.Size()/recordSize)
	var b [recordSize]byte
	for at := int64(0); ; at++ {
		if _, err := io.ReadFull(in, b[:]); err != nil {
			if !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
				return err
			}
			break
		}
		if id, ok := identIn(&b); ok {
			index = append(index, remembered{id, at})
		}
	}
	slices.SortFunc(index, func(x, y remembered) int { return cmp.Or(cmp.Compare(x.ident, y.ident), cmp.Compare(x.at, y.at)) })
	m.index = index
	return nil
}

// Known is how many records there were in the beginning.
func (m *Memory) Known() int {
	if m == nil {
		return 0
	}
	return len(m.index)
}

// Find returns the newest record of earlier runs.
func (m *Memory) Find(id Ident) (r Record, ok bool) {
	if m == nil || id == 0 {
		return Record{}, false
	}
	i, _ := slices.BinarySearchFunc(m.index, id, func(e remembered, id Ident) int { return cmp.Compare(e.ident, id) })
	for i+1 < len(m.index) && m.index[i+1].ident == id {
		i++
	}
	if i == len(m.index) || m.index[i].ident != id {
		return Record{}, false
	}
	return m.record(m.index[i].at)
}

// First returns the oldest record of earlier runs in which a state of a file was read whole. Where it has other sums than
// the newest, the disk does not give what it gave once, though the system says that nothing was changed.
func (m *Memory) First(id Ident) (r Record, ok bool) {
	if m == nil || id == 0 {
		return Record{}, false
	}
	i, _ := slices.BinarySearchFunc(m.index, id, func(e remembered, id Ident) int { return cmp.Compare(e.ident, id) })
	for ; i < len(m.index) && m.index[i].ident == id; i++ {
		if r, ok := m.record(m.index[i].at); ok && r.Whole() {
			return r, true
		}
	}
	return Record{}, false
}

// Earlier returns the newest record of earlier runs of a file in whatever state. It reads all that is remembered,
// once.
func (m *Memory) Earlier(kin Ident) (r Record, ok bool) {
	if m.Known() == 0 || kin == 0 {
		return Record{}, false
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.kin == nil {
		m.kin = make(map[Ident]int64, len(m.index))
		for _, e := range m.index {
			if r, ok := m.record(e.at); ok && e.at >= m.kin[r.Kin] {
				m.kin[r.Kin] = e.at
			}
		}
	}
	at, ok := m.kin[kin]
	if !ok {
		return Record{}, false
	}
	return m.record(at)
}

// record reads a record of an earlier run.
func (m *Memory) record(at int64) (Record, bool) {
	var b [recordSize]byte
	if m.in == nil {
		return Record{}, false
	}
	if _, err := m.in.ReadAt(b[:], int64(len(memoryFirst))+at*recordSize); err != nil {
		return Record{}, false
	}
	return decodeRecord(&b)
}

// A SHA-512 has a record of its own, since few files have one: its halves are where others have SHA-256, and MD5 and
// the beginning of SHA-1.
const (
	recordOf512 Ident = 0x5a5aa5a5c3c33c3c // turns what tells a file into what tells that record
)

// AddSHA512 remembers the SHA-512 of a file that was read whole.
func (m *Memory) AddSHA512(r *Result, sum *[sha512.Size]byte) {
	if r.Ident == 0 || !r.Whole() {
		return
	}
	rec := Record{Ident: r.Ident ^ recordOf512, When: r.When}
	if r.Kin != 0 {
		rec.Kin = r.Kin ^ recordOf512&kinBits
	}
	rec.Sums.Has = sums.MD5 | sums.SHA1
	rest := sum[copy(rec.Sums.SHA256[:], sum[:]):]
	copy(rec.Sums.SHA1[:], rest[copy(rec.Sums.MD5[:], rest):])
	m.add(&rec)
}

// SHA512 returns what is remembered of earlier runs.
func (m *Memory) SHA512(id Ident) (sum [sha512.Size]byte, ok bool) {
	if id == 0 {
		return sum, false
	}
	rec, ok := m.Find(id ^ recordOf512)
	rest := sum[copy(sum[:], rec.Sums.SHA256[:]):]
	copy(rest[copy(rest, rec.Sums.MD5[:]):], rec.Sums.SHA1[:])
	return sum, ok
}

// Begin makes ready to add, so that whether anything can be remembered is known before hours of reading. Close
// tells it.
func (m *Memory) Begin() {
	if m == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.err == nil && m.file == nil {
		m.err = m.open()
	}
}

// add remembers a record. Where that fails the reading goes on: it is only slower the next time, and Close
// tells.
func (m *Memory) add(r *Record) {
	if m == nil || r.Ident == 0 {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.err == nil && m.file == nil {
		m.err = m.open()
	}
	if m.err != nil {
		return
	}
	b := encodeRecord(r)
	m.added++
	if _, m.err = m.out.Write(b[:]); m.err == nil && time.Since(m.synced) > m.Every {
		m.err = m.out.Flush()
		m.synced = time.Now()
	}
}

// open makes the file, or opens it to add to it. A new file gets its name with its first line in it: another run may
// begin at the same moment, and must find that line, or it would write its own.
func (m *Memory) open() error {
	if err := os.MkdirAll(filepath.Dir(m.name), 0o700); err != nil {
		return err
	}
	if err := m.mend(); err != nil {
		return err
	}
	m.lock()
	f, err := m.openOrMake()
	for try := 1; try < openTries && disk.InUse(err); try++ {
		time.Sleep(openPause)
		f, err = m.openOrMake()
	}
	if err != nil {
		m.unlock()
		return err
	}
	m.file, m.out = f, bufio.NewWriterSize(f, 512*recordSize)
	return nil
}

// While another run makes the file, Windows opens it for nobody else.
const (
	openTries = 50
	openPause = 10 * time.Millisecond
)

func (m *Memory) openOrMake() (*os.File, error) {
	f, err := m.openOurs()
	if errors.Is(err, fs.ErrNotExist) {
		if err = disk.WriteNew(m.name, writeFirst); err == nil || errors.Is(err, fs.ErrExist) {
			f, err = m.openOurs()
		}
	}
	if errors.Is(err, errOther) {
		if err = disk.Replace(m.name, writeFirst); err == nil {
			f, err = m.openOurs()
		}
	}
	return f, err
}

func writeFirst(w io.Writer) error {
	_, err := io.WriteString(w, memoryFirst)
	return err
}

var errOther = errors.New("written by another version")

// openOurs opens a file that begins as this version writes it.
func (m *Memory) openOurs() (*os.File, error) {
	f, err := os.OpenFile(m.name, os.O_RDWR|os.O_APPEND, 0)
	if err != nil {
		return nil, err
	}
	if err := isOurs(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

func isOurs(f *os.File) error {
	first := make([]byte, len(memoryFirst))
	if n, err := f.ReadAt(first, 0); string(first[:n]) != memoryFirst {
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		return errOther
	}
	return nil
}

// Close writes what was added, and tells why something could not be.
func (m *Memory) Close() error {
	if m == nil {
		return nil
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.in != nil {
		_ = m.in.Close() // nothing was written
		m.in, m.index, m.kin = nil, nil, nil
	}
	if m.file != nil {
		if m.err == nil {
			m.err = m.out.Flush()
		}
		m.err = errors.Join(m.err, m.file.Close())
		m.file = nil
		m.unlock()
		if m.err == nil {
			_ = m.compact(m.added) // nothing is lost where that fails
		}
	}
	return m.err
}

// A record, all numbers with the most significant byte first: ident, time in nanoseconds since 1970, first
// bad byte, bytes lost, SHA-256, MD5, SHA-1, CRC-64/NVME, CRC-32, CRC-32C, which of them hold, 56 bits of
// kin, CRC-32C of all before.
func encodeRecord(r *Record) (b [recordSize]byte) {
	be := binary.BigEndian
	be.PutUint64(b[0:], uint64(r.Ident))
	be.PutUint64(b[8:], uint64(r.When.UnixNano()))
	be.PutUint64(b[16:], uint64(r.Bad))
	be.PutUint64(b[24:], uint64(r.Lost))
	copy(b[32:], r.Sums.SHA256[:])
	copy(b[64:], r.Sums.MD5[:])
	copy(b[80:], r.Sums.SHA1[:])
	be.PutUint64(b[100:], r.Sums.CRC64NVME)
	be.PutUint32(b[108:], r.Sums.CRC32)
	be.PutUint32(b[112:], r.Sums.CRC32C)
	be.PutUint64(b[116:], uint64(r.Kin)) // its highest byte is 0
	b[116] = byte(r.Sums.Has)
	be.PutUint32(b[124:], crc32.Checksum(b[:124], sums.Castagnoli))
	return b
}

// identIn returns the ident of a record, false where it is damaged.
func identIn(b *[recordSize]byte) (Ident, bool) {
	if binary.BigEndian.Uint32(b[124:]) != crc32.Checksum(b[:124], sums.Castagnoli) {
		return 0, false
	}
	id := Ident(binary.BigEndian.Uint64(b[:]))
	return id, id != 0
}

func decodeRecord(b *[recordSize]byte) (r Record, ok bool) {
	be := binary.BigEndian
	if r.Ident, ok = identIn(b); !ok {
		return Record{}, false
	}
	r.When = time.Unix(0, int64(be.Uint64(b[8:])))
	r.Bad, r.Lost = int64(be.Uint64(b[16:])), int64(be.Uint64(b[24:]))
	copy(r.Sums.SHA256[:], b[32:])
	copy(r.Sums.MD5[:], b[64:])
	copy(r.Sums.SHA1[:], b[80:])
	r.Sums.CRC64NVME, r.Sums.CRC32, r.Sums.CRC32C = be.Uint64(b[100:]), be.Uint32(b[108:]), be.Uint32(b[112:])
	r.Sums.Has, r.Kin = sums.Set(b[116]), Ident(be.Uint64(b[116:])&kinBits)
	return r, true
}
