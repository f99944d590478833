package disk

import (
	"errors"
	"os"
	"sync/atomic"

	"golang.org/x/sys/unix"
)

// The system's means, as they are shown.
const (
	byDirect = "O_DIRECT"
	byAdvice = "posix_fadvise(POSIX_FADV_DONTNEED)"
)

// inLargePages asks for large pages. Where there are none, small ones do as well.
func inLargePages(b []byte) { _ = unix.Madvise(b, unix.MADV_HUGEPAGE) }

// openPast asks for O_DIRECT. Where a file system refuses that, or takes it and may read through the
// cache without a word all the same, the file's pages are dropped from memory, and the kernel is asked
// whether they are gone: then what is read has to come from the disk.
func openPast(open func(flags int) (*os.File, error)) (*Reader, error) {
	direct := true
	f, err := open(unix.O_DIRECT)
	if errors.Is(err, unix.EINVAL) {
		direct = false
		f, err = open(0)
	}
	if err != nil {
		return nil, err
	}
	r, err := started(f)
	if err != nil {
		return nil, err
	}
	switch kind := passing(f); {
	case kind == inMemory:
		// The file system is memory: there is nothing behind it that could hold anything else.
		r.way, r.by = Direct, "memory"
		if direct {
			r.by = byDirect
		}
	case direct && kind == trusted:
		r.way, r.by = Direct, byDirect
	case kind == twoCaches:
		r.tidy = true
	default:
		if err := r.evict(direct); err != nil {
			_ = f.Close() // the first error is the one that counts
			return nil, err
		}
	}
	return r, nil
}

// evict makes sure that nothing of the file is in memory, or sees that something is. The error is that of
// writes that were lost.
func (r *Reader) evict(direct bool) error {
	r.way, r.by, r.tidy = Cached, "", true
	gone, err := dropped(r.f, r.size)
	if err != nil || !gone {
		return err
	}
	r.way, r.by = Evicted, byAdvice
	if direct {
		r.way, r.by = Direct, byDirect
	}
	return nil
}

// dropped drops a file from memory and reports whether all of it went.
func dropped(f *os.File, size int64) (bool, error) {
	if size == 0 {
		return true, nil
	}
	if !dropCache(f) {
		return false, nil
	}
	in, err := inMemoryStill(f, size)
	if err != nil || !in {
		return err == nil, nil
	}
	// Pages that are not written yet cannot be dropped.
	switch err := f.Sync(); {
	case isOne(err, []error{unix.EINVAL, unix.EROFS, unix.EOPNOTSUPP, unix.ENOSYS}):
		return false, nil
	case err != nil:
		return false, err // told once only: it must not be lost here
	}
	if !dropCache(f) {
		return false, nil
	}
	in, err = inMemoryStill(f, size)
	return err == nil && !in, nil
}

// read is one pread(2). Some file systems take O_DIRECT and refuse only the reading (EINVAL).
func (r *Reader) read(p []byte, off int64) (int, error) {
	n, err := r.pread(p, off)
	if errors.Is(err, unix.EINVAL) {
		if left, lerr := r.leaveDirect(); lerr != nil {
			return 0, lerr
		} else if left {
			return r.pread(p, off)
		}
	}
	return n, err
}

// leaveDirect turns O_DIRECT off where it is on. It reports whether that was done, now or by another read.
func (r *Reader) leaveDirect() (left bool, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.left {
		return true, nil
	}
	fd := r.f.Fd()
	flags, err := unix.FcntlInt(fd, unix.F_GETFL, 0)
	if err != nil || flags&unix.O_DIRECT == 0 {
		return false, nil
	}
	if _, err = unix.FcntlInt(fd, unix.F_SETFL, flags&^unix.O_DIRECT); err != nil {
		return false, nil
	}
	r.left = true
	return true, r.evict(false)
}

// dropCache drops the clean pages of a file from memory (posix_fadvise(2)).
func dropCache(f *os.File) bool {
	return retried(func() error { return unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }) == nil
}

// How far O_DIRECT can be believed.
type belief uint8

const (
	doubtful  belief = iota // may read through the cache without a word
	trusted                 // reads the disk or the server, or refuses
	inMemory                // there is no disk
	twoCaches               // the disk below is read through a cache that cannot be seen
)

// passing tells how far O_DIRECT can be believed on the file system of a file. btrfs reads compressed
// and small files through the cache (fs/btrfs/direct-io.c, ENOTBLK), ext4 those with journaled or inline
// data (fs/ext4/file.c, ext4_should_use_dio), which statx(2) tells.
func passing(f *os.File) belief {
	st, err := statfs(f)
	if err != nil {
		return doubtful
	}
	switch uint32(st.Type) {
	case unix.TMPFS_MAGIC, unix.RAMFS_MAGIC, unix.HUGETLBFS_MAGIC:
		return inMemory
	case unix.NFS_SUPER_MAGIC, unix.XFS_SUPER_MAGIC, unix.MSDOS_SUPER_MAGIC, unix.EXFAT_SUPER_MAGIC:
		return trusted
	case unix.EXT4_SUPER_MAGIC:
		var sx unix.Statx_t
		if unix.Statx(int(f.Fd()), "", unix.AT_EMPTY_PATH, unix.STATX_DIOALIGN, &sx) == nil &&
			sx.Mask&unix.STATX_DIOALIGN != 0 && sx.Dio_mem_align != 0 && sx.Dio_mem_align <= Align && sx.Dio_offset_align <= Align {
			return trusted
		}
	case unix.FUSE_SUPER_MAGIC:
		// A program that is mounted on a device of the system reads that through the cache of the device, which
		// is not the cache of the file: fuseblk. Others, without a device, are remote or nobody's business.
		var file unix.Stat_t
		if retried(func() error { return unix.Fstat(int(f.Fd()), &file) }) != nil || unix.Major(uint64(file.Dev)) != 0 {
			return twoCaches
		}
	}
	return doubtful
}

// inMemoryStill reports whether any page of a file is in memory. Where the kernel does not tell this
// user the truth it says that all are (mincore(2)).
func inMemoryStill(f *os.File, size int64) (bool, error) {
	// On an overlay, the pages are those of the file below, which cachestat(2) does not see.
	if !noCachestat.Load() && !onOverlay(f) {
		var stat unix.Cachestat_t
		err := retried(func() error { return unix.Cachestat(uint(f.Fd()), &unix.CachestatRange{}, &stat, 0) })
		if err == nil {
			return stat.Cache > 0, nil
		}
		if errors.Is(err, unix.ENOSYS) { // before Linux 6.5
			noCachestat.Store(true)
		}
	}
	return resident(size, mapWindow, func(off, length int64) (bool, error) { return mapped(f, off, length, nil) })
}

var noCachestat atomic.Bool

func onOverlay(f *os.File) bool {
	st, err := statfs(f)
	return err != nil || st.Type == unix.OVERLAYFS_SUPER_MAGIC
}
