package digest

import (
	"bufio"
	"cmp"
	"errors"
	"io"
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

// mend fills up a record that was cut, which would shift those that are added. It does so while no other run adds:
// while one writes, the end may stand between two of its records.
func (m *Memory) mend() {
	lock, err := os.OpenFile(m.name+lockSuffix, os.O_RDWR|os.O_CREATE, 0o600)
	if err == nil {
		defer lock.Close()
		if errors.Is(disk.LockAlone(lock), disk.ErrLocked) {
			return
		}
	}
	f, err := os.OpenFile(m.name, os.O_RDWR|os.O_APPEND, 0)
	if err != nil {
		return // opening it to add says why
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && beginMemory(f) == nil {
		if over := (info.Size() - int64(len(memoryFirst))) % recordSize; over > 0 {
			_, _ = f.Write(make([]byte, recordSize-over)) // where this fails, adding does too
		}
	}
}

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

// newest marks the newest record of each file, whatever state it was in then, and counts them. There are about all
// records.
func newest(f io.ReaderAt, all int64) (keep []uint64, n int64, err error) {
	type seen struct {
		file Ident
		at   int64
	}
	list := make([]seen, 0, all)
	keep = make([]uint64, all/64+1)
	err = eachRecord(f, func(at int64, b *[recordSize]byte) error {
		if r, ok := decodeRecord(b); ok {
			file := r.Kin
			if file == 0 {
				file = r.Ident | 1<<63 // no kin has that bit
			}
			list = append(list, seen{file, at})
		}
		return nil
	})
	if err != nil {
		return nil, 0, err
	}
	slices.SortFunc(list, func(x, y seen) int { return cmp.Or(cmp.Compare(x.file, y.file), cmp.Compare(x.at, y.at)) })
	for i, s := range list {
		if i+1 < len(list) && list[i+1].file == s.file {
			continue
		}
		if s.at/64 >= int64(len(keep)) {
			return nil, 0, errors.New("the file has grown meanwhile")
		}
		keep[s.at/64] |= 1 << (s.at % 64)
		n++
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
