package digest

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"time"

	"loadline/checks/internal/disk"
)

// What is remembered grows by a record for each file that is read. Once half of it or more says nothing any more, since
// the same files were read again later, it is written anew without that: it stays under about four times what counts,
// plus what one run adds.
//
// Whoever adds holds a lock file beside the records together with others, for as long as it may add. Whoever writes
// them anew holds it alone, and so takes nobody's records away. A crash leaves the old file or the new one, whole.

const (
	lockSuffix = ".lock"
	// compactFrom is how many records are never worth the work.
	compactFrom = 4096
	// sweepAge is how old a half-written file of another run must be to be removed.
	sweepAge = 24 * time.Hour
)

// lock opens and locks the lock file. Where there are no locks it does without: then nothing is ever written anew.
func (m *Memory) lock() {
	f, err := os.OpenFile(m.name+lockSuffix, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return
	}
	if disk.LockShared(f) != nil {
		_ = f.Close() // nothing was written
		return
	}
	m.locked = f
}

func (m *Memory) unlock() {
	if m.locked != nil {
		_ = m.locked.Close() // nothing was written
		m.locked = nil
	}
}

// mend fills up a record that was cut, or it would shift the next ones. Only a run that is alone can tell: while
// another writes, the size may be that of half a write. Where there are no locks it takes itself to be alone.
func (m *Memory) mend() error {
	lock, err := os.OpenFile(m.name+lockSuffix, os.O_RDWR|os.O_CREATE, 0o600)
	if err == nil {
		defer lock.Close()
		if errors.Is(disk.LockAlone(lock), disk.ErrLocked) {
			return nil // whoever was alone before has done it
		}
	}
	f, err := m.openOurs()
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, errOther) || disk.InUse(err) {
		return nil // there is nothing of ours, or somebody has it
	}
	if err != nil {
		return err
	}
	info, err := f.Stat()
	if err == nil {
		if over := (info.Size() - int64(len(memoryFirst))) % recordSize; over > 0 {
			_, err = f.Write(make([]byte, recordSize-over))
		}
	}
	return errors.Join(err, f.Close())
}

// compact writes the records anew where that is worth it. added is how many this run has added. What fails here loses
// nothing: the file stays as it is.
func (m *Memory) compact(added int64) error {
	info, err := os.Stat(m.name)
	if err != nil {
		return err
	}
	all := (info.Size() - int64(len(memoryFirst))) / recordSize
	// To look at all of them is worth it each time they have doubled, or an eighth is new.
	if all < compactFrom || bits.Len64(uint64(all)) == bits.Len64(uint64(max(all-added, 0))) && added < all/8 {
		return nil
	}
	lock, err := os.OpenFile(m.name+lockSuffix, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer lock.Close()
	if err := disk.LockAlone(lock); err != nil {
		return err // another run adds: that one may do it, or a later one
	}
	disk.Sweep(filepath.Dir(m.name), sweepAge, time.Now(), func(file string) bool { return filepath.Ext(file) == ".log" })
	f, err := os.Open(m.name)
	if err != nil {
		return err
	}
	defer f.Close()
	keep, n, err := newest(f, all)
	if err != nil || n > all/2 {
		return err
	}
	return disk.Replace(m.name, func(w io.Writer) error {
		if err := writeFirst(w); err != nil {
			return err
		}
		err := eachRecord(f, func(at int64, b *[recordSize]byte) error {
			if at/64 >= int64(len(keep)) || keep[at/64]>>(at%64)&1 == 0 {
				return nil
			}
			_, err := w.Write(b[:])
			return err
		})
		return errors.Join(err, f.Close()) // a file that is open cannot be replaced on Windows
	})
}

// newest marks the newest record of each file, whatever state it was in then, and the first of that state where it has other
// sums, which tells of a file that rots. It counts them. There are about all records.
func newest(f io.ReaderAt, all int64) (keep []uint64, n int64, err error) {
	type seen struct {
		file  Ident
		at    int64
		state Ident
		sum   uint64 // the head of the SHA-256; 0 where the file was not read whole
	}
	list := make([]seen, 0, all)
	keep = make([]uint64, all/64+1)
	err = eachRecord(f, func(at int64, b *[recordSize]byte) error {
		if r, ok := decodeRecord(b); ok {
			file := r.Kin
			if file == 0 {
				file = r.Ident | 1<<63 // no kin has that bit
			}
			s := seen{file, at, r.Ident, 0}
			if r.Whole() {
				s.sum = binary.BigEndian.Uint64(r.Sums.SHA256[:])
			}
			list = append(list, s)
		}
		return nil
	})
	if err != nil {
		return nil, 0, err
	}
	slices.SortFunc(list, func(x, y seen) int { return cmp.Or(cmp.Compare(x.file, y.file), cmp.Compare(x.at, y.at)) })
	mark := func(at int64) error {
		if at/64 >= int64(len(keep)) {
			return errors.New("the file has grown meanwhile")
		}
		keep[at/64] |= 1 << (at % 64)
		n++
		return nil
	}
	for from, i := 0, 0; i < len(list); i++ {
		if i+1 < len(list) && list[i+1].file == list[i].file {
			continue
		}
		last := &list[i]
		if err := mark(last.at); err != nil {
			return nil, 0, err
		}
		for k := from; k < i; k++ {
			if s := &list[k]; s.state == last.state && s.sum != 0 {
				if s.sum != last.sum {
					err = mark(s.at)
				}
				break
			}
		}
		if from = i + 1; err != nil {
			return nil, 0, err
		}
	}
	return keep, n, nil
}

// eachRecord reads all whole records of a file, damaged ones too.
func eachRecord(f io.ReaderAt, yield func(at int64, b *[recordSize]byte) error) error {
	in := bufio.NewReaderSize(io.NewSectionReader(f, int64(len(memoryFirst)), 1<<62), 1<<18)
	var b [recordSize]byte
	for at := int64(0); ; at++ {
		switch _, err := io.ReadFull(in, b[:]); {
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			return nil
		case err != nil:
			return err
		}
		if err := yield(at, &b); err != nil {
			return err
		}
	}
}
