package disk

import (
	"errors"
	"io"
	"os"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

const (
	byNoCache    = "fcntl(F_NOCACHE)"
	byInvalidate = "msync(MS_INVALIDATE)"
)

// openQuiet opens a file to be read, itself and not what it may link to.
func openQuiet(path string, flags int) (*os.File, error) {
	return os.OpenFile(path, flags|os.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0)
}

// openPast first takes out of memory what is there of the file, and asks the kernel whether it is gone:
// F_NOCACHE keeps what is read from now on out of the cache, but what is there already is read from
// it (xnu bsd/vfs/vfs_cluster.c; NFS kext/nfs_bio.c).
func openPast(open func(flags int) (*os.File, error)) (*Reader, error) {
	f, err := open(0)
	if err != nil {
		return nil, err
	}
	r, err := started(f)
	if err != nil {
		return nil, err
	}
	if r.way, err = evicted(f, r.size); err != nil {
		_ = f.Close() // the first error is the one that counts
		return nil, err
	}
	if r.way == Cached {
		return r, nil
	}
	if _, err := unix.FcntlInt(f.Fd(), unix.F_NOCACHE, 1); err == nil {
		_, _ = unix.FcntlInt(f.Fd(), unix.F_RDAHEAD, 0) // reading ahead would only fill the cache
		r.by = byNoCache
	} else {
		r.by, r.tidy = byInvalidate, true
	}
	return r, nil
}

// evicted takes a file out of memory: fsync(2), then msync(2) with MS_INVALIDATE over a shared mapping.
// mincore(2) tells whether it went.
func evicted(f *os.File, size int64) (Way, error) {
	if size == 0 {
		return Evicted, nil
	}
	if err := flushed(f); err != nil {
		for _, harmless := range []error{unix.EINVAL, unix.EROFS, unix.ENOTSUP} {
			if errors.Is(err, harmless) {
				err = nil
				break
			}
		}
		if err != nil {
			return Cached, &os.PathError{Op: "fsync", Path: f.Name(), Err: err} // told once only: it must not be lost here
		}
	}
	in, err := resident(size, mapWindow, func(off, length int64) (bool, error) { return mapped(f, off, length, true) })
	if err != nil || in {
		return Cached, nil // not proven, for whatever reason
	}
	return Evicted, nil
}

// flushed sends what is held of a file: on a share by F_FULLFSYNC, which asks the server to do the same (smbfs; on NFS
// it is fsync(2): NFS kext/nfs_vnops.c, nfs_vnop_ioctl). A disk of this computer is not asked to empty its own memory
// for each file that is read of it.
func flushed(f *os.File) error {
	var st unix.Statfs_t
	if retried(func() error { return unix.Fstatfs(int(f.Fd()), &st) }) == nil && st.Flags&unix.MNT_LOCAL == 0 {
		return Flush(f)
	}
	return retried(func() error { return unix.Fsync(int(f.Fd())) })
}

// inMemoryStill reports whether any of a file is in memory.
func inMemoryStill(f *os.File, size int64) (bool, error) {
	return resident(size, mapWindow, func(off, length int64) (bool, error) { return mapped(f, off, length, false) })
}

// mapped reports whether any of a part of a file is in memory, and takes it out first if invalidate is set.
func mapped(f *os.File, off, length int64, invalidate bool) (bool, error) {
	m, err := unix.Mmap(int(f.Fd()), off, int(length), unix.PROT_READ, unix.MAP_SHARED)
	if err != nil {
		return false, os.NewSyscallError("mmap", err)
	}
	defer unix.Munmap(m)
	if invalidate {
		if err := retried(func() error { return unix.Msync(m, unix.MS_INVALIDATE) }); err != nil {
			return false, os.NewSyscallError("msync", err)
		}
	}
	// The kernel counts in its own pages, of 4 or 16 KiB (bsd/kern/kern_mman.c, mincore): there is room
	// for the smaller ones, and what it does not fill says nothing.
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

// dropCache takes a file out of memory.
func dropCache(f *os.File) {
	if info, err := f.Stat(); err == nil {
		_, _ = evicted(f, info.Size()) // it only takes up room
	}
}

func (r *Reader) read(p []byte, off int64) (int, error) {
	for {
		n, err := unix.Pread(int(r.f.Fd()), p, off)
		switch {
		case err == nil && n == 0:
			return 0, io.EOF
		case err == nil:
			return n, nil
		case errors.Is(err, unix.EINTR):
			continue
		}
		return 0, &os.PathError{Op: "read", Path: r.f.Name(), Err: err}
	}
}
