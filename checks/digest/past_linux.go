package digest

import (
	"errors"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// How a file is read past this machine's cache.
const (
	Direct = "O_DIRECT"
	Advice = "posix_fadvise(POSIX_FADV_DONTNEED)"
)

// openPast opens a file so that reading it asks the disk or the server: with O_DIRECT, or, where the
// file system refuses that, after its clean pages were dropped.
func openPast(path string) (f *os.File, way string, err error) {
	fd, err := openRetrying(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NOFOLLOW|unix.O_DIRECT)
	if err == nil {
		return os.NewFile(uintptr(fd), path), Direct, nil
	}
	if !errors.Is(err, unix.EINVAL) {
		return nil, "", &os.PathError{Op: "open", Path: path, Err: err}
	}
	if fd, err = openRetrying(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NOFOLLOW); err != nil {
		return nil, "", &os.PathError{Op: "open", Path: path, Err: err}
	}
	f = os.NewFile(uintptr(fd), path)
	return f, dropCache(f), nil
}

func openRetrying(path string, mode int) (int, error) {
	for {
		fd, err := unix.Open(path, mode, 0)
		if !errors.Is(err, unix.EINTR) {
			return fd, err
		}
	}
}

func dropCache(f *os.File) string {
	if unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) != nil {
		return ""
	}
	return Advice
}

// readBlock reads at most len(p) bytes at an offset, both multiples of blockAlign; fewer only at the
// end of the file, or where the system gives fewer. Where the file system refuses to read past the
// cache after all, it reads otherwise and says how in way.
func readBlock(f *os.File, p []byte, off int64, way *string) (int, error) {
	for {
		n, err := unix.Pread(int(f.Fd()), p, off)
		switch {
		case err == nil:
			return n, nil
		case errors.Is(err, unix.EINTR):
		case errors.Is(err, unix.EINVAL) && *way == Direct:
			flags, err := unix.FcntlInt(f.Fd(), unix.F_GETFL, 0)
			if err == nil {
				_, err = unix.FcntlInt(f.Fd(), unix.F_SETFL, flags&^unix.O_DIRECT)
			}
			if err != nil {
				return 0, &os.PathError{Op: "fcntl", Path: f.Name(), Err: err}
			}
			*way = dropCache(f)
		default:
			return 0, &os.PathError{Op: "read", Path: f.Name(), Err: err}
		}
	}
}

// doneReading gives back what reading left in the cache where that could not be passed by.
func doneReading(f *os.File, way string) {
	if way == Advice {
		dropCache(f)
	}
}

func statOf(info os.FileInfo) stat {
	s := stat{size: info.Size(), mtime: info.ModTime().UnixNano()}
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		s.device, s.inode, s.ctime, s.known = uint64(st.Dev), st.Ino, st.Ctim.Nano(), true
	}
	return s
}

// FlushCall names what Flush does; "" where it can do nothing.
const FlushCall = "syncfs(2)"

// Flush sends what this machine still holds for the file system of a folder.
func Flush(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := unix.Syncfs(int(f.Fd())); err != nil {
		return &os.PathError{Op: "syncfs", Path: path, Err: err}
	}
	return nil
}
