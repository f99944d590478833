package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"sync"
	"unsafe"
)

// Align is what reading past the cache asks of memory, offsets and lengths, bytes: no disk has larger
// blocks, and nearly no file system asks for more (open(2), O_DIRECT; CreateFile,
// FILE_FLAG_NO_BUFFERING).
const Align = 4096

// largePage is the size of a large page of memory where pages have 4 KiB, bytes.
const largePage = 2 << 20

// Buffer makes memory that can be read into past the cache. Its size is n rounded up to whole blocks. A disk writes into
// it page by page, so that one of large pages takes less of it and of the system (measured on a virtual disk: twice the
// rate).
func Buffer(n int) []byte {
	n = (n + Align - 1) &^ (Align - 1)
	align := Align
	if n >= largePage {
		align = largePage
	}
	b := make([]byte, n+align)
	skip := int(-uintptr(unsafe.Pointer(unsafe.SliceData(b))) & uintptr(align-1))
	b = b[skip : skip+n : skip+n]
	if n >= largePage {
		inLargePages(b)
	}
	return b
}

// A Way says how far a reading went past this computer's cache.
type Way string

// The ways.
const (
	Direct  Way = "direct"  // every read asked the disk or the server
	Evicted Way = "evicted" // nothing of the file was in memory when the reading began
	Cached  Way = "none"    // what was read may have come from memory
)

// A Reader reads one file, past this computer's cache as far as the system can be made to. It never
// changes the file. It may be read at several places at once; Close waits for those reads.
type Reader struct {
	f    *os.File
	size int64

	mu   sync.RWMutex // held for reading by whoever uses f
	way  Way
	by   string
	tidy bool // reading fills the cache: give it back in the end
	left bool // the system's means was given up while reading
}

// OpenPast opens a file for reading past the cache. A symbolic link is an error.
func OpenPast(path string) (*Reader, error) {
	return OpenPastWith(func(flags int) (*os.File, error) {
		return openQuiet(path, flags)
	})
}

// OpenPastWith is OpenPast for a file that the caller opens: read-only, with the flags of open(2) that it is
// given. It may be called more than once. The file that it last returned belongs to the Reader.
func OpenPastWith(open func(flags int) (*os.File, error)) (*Reader, error) {
	return openPast(open)
}

// InMemory reports whether any of an open file is in this computer's memory, as the system tells it. The
// error is errors.ErrUnsupported where the system does not tell.
func InMemory(f *os.File) (bool, error) {
	info, err := f.Stat()
	if err != nil {
		return false, err
	}
	return inMemoryStill(f, info.Size())
}

// started is a Reader for an open file, or an error if that is not a regular one.
func started(f *os.File) (*Reader, error) {
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = &fs.PathError{Op: "read", Path: f.Name(), Err: errNotRegular}
	}
	if err != nil {
		_ = f.Close() // the first error is the one that counts
		return nil, err
	}
	return &Reader{f: f, way: Cached, size: info.Size()}, nil
}

var errNotRegular = fmt.Errorf("not a regular file: %w", fs.ErrInvalid)

// Way tells how far the reading goes past the cache. It can get worse while reading, so ask again at
// the end.
func (r *Reader) Way() Way {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.way
}

// By names the system's own means, such as O_DIRECT; "" where the way is none.
func (r *Reader) By() string {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.by
}

// Size is the length of the file when it was opened, bytes.
func (r *Reader) Size() int64 { return r.size }

// File is the open file, to look at. Reading it does not go through the Reader's way.
func (r *Reader) File() *os.File { return r.f }

// ReadAt reads like io.ReaderAt: it fills p, or returns io.EOF where the file ends before, or another
// error with what was read until then. The address of p, its length and the offset must be multiples
// of Align; a file may end anywhere. One bad block can fail a whole read: whoever wants what is around
// it reads again in smaller pieces.
func (r *Reader) ReadAt(p []byte, off int64) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if off < 0 || off%Align != 0 || len(p)%Align != 0 || uintptr(unsafe.Pointer(unsafe.SliceData(p)))%Align != 0 {
		return 0, &fs.PathError{Op: "read", Path: r.f.Name(), Err: errUnaligned}
	}
	got := 0 // bytes read; a short read may end anywhere, the next one begins at a whole block
	for {
		at := got &^ (Align - 1)
		n, err := r.read(p[at:], off+int64(at))
		before := got
		got = max(got, at+n)
		switch {
		case got == len(p):
			return got, nil
		case err != nil:
			return got, err
		case off+int64(got) >= r.size || got == before:
			return got, io.EOF
		}
	}
}

// Fill is ReadAt where the end of the file is no error: n tells how much there was.
func (r *Reader) Fill(p []byte, off int64) (n int, err error) {
	if n, err = r.ReadAt(p, off); errors.Is(err, io.EOF) {
		err = nil
	}
	return n, err
}

var errUnaligned = errors.New("memory, offset or length are not whole blocks")

// Close closes the file. What reading left in the cache, where that was not passed by, is given back
// first.
func (r *Reader) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.tidy {
		dropCache(r.f)
	}
	return r.f.Close()
}

// resident reports whether any of a file is in memory, asking a window at a time: a file can be larger
// than what can be mapped at once.
func resident(size, window int64, held func(off, length int64) (bool, error)) (bool, error) {
	for off := int64(0); off < size; off += window {
		if in, err := held(off, min(window, size-off)); in || err != nil {
			return in, err
		}
	}
	return false, nil
}

// mapWindow is how much of a file is mapped at a time, bytes: it costs page tables, not memory.
const mapWindow = 1 << 30
