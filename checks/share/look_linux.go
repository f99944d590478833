package share

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// magicNFS is f_type of NFS (statfs(2)).
const magicNFS = unix.NFS_SUPER_MAGIC

func systemFolders() []string { return []string{"/"} }

// mounts reads the table of this process. mountinfo leads; mountstats knows more of the options.
func mounts(context.Context) ([]Mount, error) {
	f, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return nil, fmt.Errorf("mount table: %w", err)
	}
	defer f.Close()
	rows, err := ParseMountInfo(f)
	if err != nil {
		return nil, err
	}
	stats, err := os.Open("/proc/self/mountstats")
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
		return rows, nil
	}
	if err != nil {
		return nil, fmt.Errorf("mount table: %w", err)
	}
	defer stats.Close()
	more, err := ParseMountStats(stats)
	if err != nil {
		return nil, err
	}
	mergeOptions(rows, more)
	return rows, nil
}

// inspect asks about the folder at s.path through one descriptor, so that all answers are of the
// same folder even where something is mounted over it meanwhile.
func inspect(s *seen) error {
	fd, err := unix.Open(s.path, unix.O_PATH|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
	if err != nil {
		return &fs.PathError{Op: "open", Path: s.path, Err: err}
	}
	defer unix.Close(fd)
	var st unix.Statfs_t
	for {
		if err = unix.Fstatfs(fd, &st); err != unix.EINTR {
			break
		}
	}
	if err != nil {
		return &fs.PathError{Op: "statfs", Path: s.path, Err: err}
	}
	var sx unix.Statx_t
	// STATX_MNT_ID came with Linux 5.8; before that the bit stays unset in the answer.
	if err := unix.Statx(fd, "", unix.AT_EMPTY_PATH|unix.AT_STATX_DONT_SYNC, unix.STATX_MNT_ID, &sx); err == nil &&
		sx.Mask&unix.STATX_MNT_ID != 0 {
		s.mountID = int(sx.Mnt_id)
	}
	unit := uint64(st.Frsize)
	if unit == 0 {
		unit = uint64(st.Bsize)
	}
	s.space = Space{
		Free:        times(st.Bavail, unit),
		Total:       times(st.Blocks, unit),
		FreeInodes:  times(st.Ffree, 1),
		TotalInodes: times(st.Files, 1),
		NameLimit:   int(st.Namelen),
		Magic:       int64(st.Type),
	}
	s.network = s.space.Magic == magicNFS
	return nil
}

func deviceOf(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return st.Dev
	}
	return 0
}
