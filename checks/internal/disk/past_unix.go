//go:build linux || darwin

package disk

import (
	"io"
	"os"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// pread is one pread(2); the end of the file is io.EOF.
func (r *Reader) pread(p []byte, off int64) (n int, err error) {
	r.mu.RLock()
	defer r.mu.RUnlock()
	err = retried(func() error { n, err = unix.Pread(int(r.f.Fd()), p, off); return err })
	switch {
	case err != nil:
		return 0, &os.PathError{Op: "read", Path: r.f.Name(), Err: err}
	case n == 0:
		return 0, io.EOF
	}
	return n, nil
}

// mapped asks mincore(2) whether any of a part of a file that begins at a whole page is in memory; before is called
// with the part mapped.
func mapped(f *os.File, off, length int64, before func(m []byte) error) (bool, error) {
	m, err := unix.Mmap(int(f.Fd()), off, int(length), unix.PROT_READ, unix.MAP_SHARED)
	if err != nil {
		return false, os.NewSyscallError("mmap", err)
	}
	defer unix.Munmap(m)
	if before != nil {
		if err := before(m); err != nil {
			return false, err
		}
	}
	// The kernel counts in pages, of 4, 16 or 64 KiB: there is room for the smallest, and what it does not fill
	// says nothing.
	pages := make([]byte, length/4096+1)
	_, _, errno := syscall.Syscall(syscall.SYS_MINCORE, uintptr(unsafe.Pointer(unsafe.SliceData(m))), uintptr(len(m)), uintptr(unsafe.Pointer(unsafe.SliceData(pages))))
	if errno != 0 {
		return false, os.NewSyscallError("mincore", errno)
	}
	for _, p := range pages {
		if p&mincoreInCore != 0 {
			return true, nil
		}
	}
	return false, nil
}
