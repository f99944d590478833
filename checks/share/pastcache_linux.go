package share

import (
	"os"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// directAlign is what O_DIRECT asks of buffers, offsets and lengths on every file system that is
// not odder than its disks (open(2)).
const directAlign = 4096

// pastCache opens a file that the place made so that reading it asks the server or the disk, not
// this machine's cache: with O_DIRECT, or where that is refused, after the clean pages were dropped
// (posix_fadvise(2)). It says which.
func (p *place) pastCache(name string) (*os.File, string, error) {
	if f, err := p.reopen(name, unix.O_DIRECT); err == nil {
		// Some file systems refuse only the reading.
		_, err = f.ReadAt(alignedBuffer(directAlign), 0)
		if err == nil || !isInvalid(err) {
			return f, "O_DIRECT", nil
		}
		f.Close()
	}
	f, err := p.reopen(name, 0)
	if err != nil {
		return nil, "", err
	}
	if err := unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED); err != nil {
		return f, "", nil // read from the cache, and said so
	}
	return f, "fadvise", nil
}

func isInvalid(err error) bool {
	if pe, ok := err.(*os.PathError); ok {
		return pe.Err == unix.EINVAL
	}
	return false
}

// alignedBuffer makes a buffer whose address O_DIRECT takes.
func alignedBuffer(size int) []byte {
	b := make([]byte, size+directAlign)
	skip := 0
	if r := int(uintptr(unsafe.Pointer(unsafe.SliceData(b))) % directAlign); r != 0 {
		skip = directAlign - r
	}
	return b[skip : skip+size : skip+size]
}

// setDate dates an open file.
func setDate(f *os.File, _ *place, _ string, date time.Time) error {
	ts := []unix.Timeval{unix.NsecToTimeval(date.UnixNano()), unix.NsecToTimeval(date.UnixNano())}
	return unix.Futimes(int(f.Fd()), ts)
}
