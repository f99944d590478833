package share

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"math/bits"
	"os/exec"
	"syscall"

	"golang.org/x/sys/unix"
)

// magicNFS: there is no such number here; the type has a name.
const magicNFS = -1

func rootFolder() string { return "/" }

// mounts reads the table that mount prints, and the options in force that only nfsstat knows.
func mounts(ctx context.Context) ([]Mount, error) {
	text, err := exec.CommandContext(ctx, "/sbin/mount").Output()
	if err != nil {
		return nil, fmt.Errorf("mount table: %w", err)
	}
	rows, err := ParseMountText(bytes.NewReader(text))
	if err != nil {
		return nil, err
	}
	// Without an NFS mount nfsstat has nothing to say, and says so with a status.
	if text, err := exec.CommandContext(ctx, "/usr/bin/nfsstat", "-m").Output(); err == nil {
		more, err := ParseNFSStat(bytes.NewReader(text))
		if err != nil {
			return nil, err
		}
		mergeOptions(rows, more)
	}
	return rows, nil
}

func inspect(s *seen) error {
	var st unix.Statfs_t
	for {
		err := unix.Statfs(s.path, &st)
		if err == unix.EINTR {
			continue
		}
		if err != nil {
			return &fs.PathError{Op: "statfs", Path: s.path, Err: err}
		}
		break
	}
	s.point = unix.ByteSliceToString(st.Mntonname[:])
	s.from = unix.ByteSliceToString(st.Mntfromname[:])
	s.fsType = unix.ByteSliceToString(st.Fstypename[:])
	s.network = st.Flags&unix.MNT_LOCAL == 0
	s.space = Space{
		Free:        times(st.Bavail, uint64(st.Bsize)),
		Total:       times(st.Blocks, uint64(st.Bsize)),
		FreeInodes:  times(st.Ffree, 1),
		TotalInodes: times(st.Files, 1),
		Block:       int64(st.Bsize),
	}
	return nil
}

// times multiplies; what does not fit is as much as fits.
func times(n, unit uint64) int64 {
	hi, lo := bits.Mul64(n, unit)
	if hi != 0 || lo > math.MaxInt64 {
		return math.MaxInt64
	}
	return int64(lo)
}

func deviceOf(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(uint32(st.Dev))
	}
	return 0
}
