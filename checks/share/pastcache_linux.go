package share

import (
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// directIO opens a file past the cache. On NFS, buffers of any address and length will do.
const directIO = unix.O_DIRECT

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

// setDate dates an open file.
func setDate(f *os.File, _ *place, _ string, date time.Time) error {
	ts := []unix.Timeval{unix.NsecToTimeval(date.UnixNano()), unix.NsecToTimeval(date.UnixNano())}
	return unix.Futimes(int(f.Fd()), ts)
}
