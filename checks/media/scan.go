package media

import (
	"bytes"
	"errors"
	"io"
	"sync"
)

const (
	firstRead = 4 << 10  // one page: what a file that is no clip costs
	maxWindow = 64 << 10 // of one read
	maxReads  = 1 << 14  // of one file: four hours in fragments of a second
	maxBytes  = 32 << 20 // of one file
	maxPeeks  = 1 << 20  // of one file: headers, more or less
)

// errTooMuch ends a look that has read as much of a file as it may.
var errTooMuch = errors.New("too long a structure to follow")

// A scan reads headers here and there in a file, through one window. Its first error stays: after it
// peek returns nothing, so a walk that stops where there is nothing to see stops on errors as well.
type scan struct {
	r      io.ReaderAt
	size   int64
	window int   // bytes of the next read
	off    int64 // where buf begins
	n      int   // bytes in buf
	reads  int
	read   int64
	peeks  int
	err    error
	buf    [maxWindow]byte
}

var scans = sync.Pool{New: func() any { return new(scan) }}

func newScan(r io.ReaderAt, size int64) *scan {
	s := scans.Get().(*scan)
	s.r, s.size, s.window = r, size, firstRead
	s.off, s.n, s.reads, s.read, s.peeks, s.err = 0, 0, 0, 0, 0, nil
	return s
}

func (s *scan) release() {
	s.r = nil
	scans.Put(s)
}

// peek returns the n bytes at pos, or those that there are before the end of the file. They are valid
// until the next call. A read takes a page; where one follows close on another, it takes twice as
// much as the last: many small parts in a row are cheap, and so is a jump across a gigabyte.
func (s *scan) peek(pos int64, n int) []byte {
	if s.err != nil || pos < 0 || pos >= s.size {
		return nil
	}
	if s.peeks++; s.peeks > maxPeeks {
		s.err = errTooMuch
		return nil
	}
	n = int(min(int64(n), s.size-pos, maxWindow))
	if pos < s.off || pos+int64(n) > s.off+int64(s.n) {
		s.fill(pos, n)
		if s.err != nil {
			return nil
		}
	}
	i := int(pos - s.off)
	return s.buf[i : i+n]
}

func (s *scan) fill(pos int64, n int) {
	if gap := pos - (s.off + int64(s.n)); s.n > 0 && gap > -firstRead && gap < int64(s.window) {
		s.window = min(2*s.window, maxWindow)
	} else {
		s.window = firstRead
	}
	n = int(min(int64(max(n, s.window)), s.size-pos, maxWindow))
	if s.reads >= maxReads || s.read+int64(n) > maxBytes {
		s.err = errTooMuch
		return
	}
	s.reads++
	s.read += int64(n)
	got, err := s.r.ReadAt(s.buf[:n], pos)
	s.off, s.n = pos, got
	switch {
	case got == n:
	case err == nil || errors.Is(err, io.EOF):
		s.err = ErrShrank
	default:
		s.err = err
	}
}

// find returns where pattern begins at or after pos and before pos+within, or -1.
func (s *scan) find(pattern []byte, pos, within int64) int64 {
	for end := pos + within; pos < end; {
		b := s.peek(pos, int(min(end-pos+int64(len(pattern))-1, maxWindow)))
		if i := bytes.Index(b, pattern); i >= 0 {
			return pos + int64(i)
		}
		if len(b) < len(pattern) {
			return -1
		}
		pos += int64(len(b) - len(pattern) + 1)
	}
	return -1
}

// left returns how many bytes there are from pos to the end of the file.
func (s *scan) left(pos int64) uint64 {
	if pos >= s.size {
		return 0
	}
	return uint64(s.size - pos)
}

// fourCC says whether b begins with a code of four printable characters, as types of boxes and chunks
// are; © stands in some of QuickTime's.
func fourCC(b []byte) bool {
	if len(b) < 4 {
		return false
	}
	for _, c := range b[:4] {
		if (c < ' ' || c > '~') && c != 0xA9 {
			return false
		}
	}
	return true
}

// blank says whether b is empty but zeros.
func blank(b []byte) bool {
	for _, c := range b {
		if c != 0 {
			return false
		}
	}
	return true
}

// startsLike says whether one of the codes could begin with b, of which there may be less than a whole
// code.
func startsLike(b []byte, codes ...string) bool {
	for _, c := range codes {
		if n := min(len(b), len(c)); n > 0 && string(b[:n]) == c[:n] {
			return true
		}
	}
	return false
}
