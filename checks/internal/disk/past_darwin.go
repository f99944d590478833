package disk

import (
	"os"

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
	if err := flushed(f); err != nil && !isOne(err, []error{unix.EINVAL, unix.EROFS, unix.ENOTSUP}) {
		return Cached, &os.PathError{Op: "fsync", Path: f.Name(), Err: err} // told once only: it must not be lost here
	}
	in, err := resident(size, mapWindow, func(off, length int64) (bool, error) { return mapped(f, off, length, invalidate) })
	if err != nil || in {
		return Cached, nil // not proven, for whatever reason
	}
	return Evicted, nil
}

// flushed sends what is held of a file: on a share by F_FULLFSYNC, which asks the server to do the same (smbfs; on NFS
// it is fsync(2): NFS kext/nfs_vnops.c, nfs_vnop_ioctl). A disk of this computer is not asked to empty its own memory
// for each file that is read of it.
func flushed(f *os.File) error {
	if st, err := statfs(f); err == nil && st.Flags&unix.MNT_LOCAL == 0 {
		return Flush(f)
	}
	return retried(func() error { return unix.Fsync(int(f.Fd())) })
}

// inMemoryStill reports whether any of a file is in memory.
func inMemoryStill(f *os.File, size int64) (bool, error) {
	return resident(size, mapWindow, func(off, length int64) (bool, error) { return mapped(f, off, length, nil) })
}

// invalidate takes a mapped part of a file out of memory.
func invalidate(m []byte) error {
	return os.NewSyscallError("msync", retried(func() error { return unix.Msync(m, unix.MS_INVALIDATE) }))
}

// dropCache takes a file out of memory.
func dropCache(f *os.File) {
	if info, err := f.Stat(); err == nil {
		_, _ = evicted(f, info.Size()) // it only takes up room
	}
}

func (r *Reader) read(p []byte, off int64) (int, error) { return r.pread(p, off) }
