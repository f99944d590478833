package share

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"sync"
	"syscall"

	"golang.org/x/sys/unix"
)

// magicNFS: there is no such number here; the type has a name.
const magicNFS = -1

// systemFolders are on the volumes of the system: the sealed one and the one that holds the rest, where folders lie
// that are left in /Volumes when nothing is mounted there any more.
func systemFolders() []string { return []string{"/", dataVolume} }

// firmlinks are those of this system.
var firmlinks = sync.OnceValue(func() []firmlink {
	text, err := os.ReadFile("/usr/share/firmlinks")
	if err != nil {
		text = []byte(usualFirmlinks)
	}
	return parseFirmlinks(bytes.NewReader(text))
})

// mounts reads the kernel's table without asking any file system (getfsstat(2), MNT_NOWAIT), and the options in force
// that only nfsstat knows.
func mounts(ctx context.Context) ([]Mount, error) {
	table, err := mountTable()
	if err != nil {
		return nil, fmt.Errorf("mount table: %w", err)
	}
	rows := make([]Mount, 0, len(table))
	nfs := false
	for i := range table {
		st := &table[i]
		m := Mount{
			From:  unix.ByteSliceToString(st.Mntfromname[:]),
			Point: unix.ByteSliceToString(st.Mntonname[:]),
			Type:  unix.ByteSliceToString(st.Fstypename[:]),
			Root:  "/", Options: macOptions(st.Flags),
		}
		nfs = nfs || m.Type == "nfs"
		rows = append(rows, m)
	}
	if nfs {
		// It asks the kernel only. Where it fails the options are not known, and are said not to be.
		if text, err := exec.CommandContext(ctx, "/usr/bin/nfsstat", "-m").Output(); err == nil {
			more, err := ParseNFSStat(bytes.NewReader(text))
			if err != nil {
				return nil, err
			}
			mergeOptions(rows, more)
		}
	}
	for i := range rows {
		rows[i].Point = withoutFirmlink(firmlinks(), rows[i].Point)
	}
	return rows, nil
}

// mountTable asks for more rows than there are, until it is given fewer.
func mountTable() ([]unix.Statfs_t, error) {
	for room := 64; ; room *= 2 {
		table := make([]unix.Statfs_t, room)
		n, err := unix.Getfsstat(table, unix.MNT_NOWAIT)
		switch {
		case errors.Is(err, unix.EINTR):
		case err != nil:
			return nil, err
		case n < room:
			return table[:n], nil
		}
	}
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
	s.point = withoutFirmlink(firmlinks(), unix.ByteSliceToString(st.Mntonname[:]))
	s.from = unix.ByteSliceToString(st.Mntfromname[:])
	s.fsType = unix.ByteSliceToString(st.Fstypename[:])
	s.network = st.Flags&unix.MNT_LOCAL == 0
	s.space = Space{
		Free:        times(st.Bavail, uint64(st.Bsize)),
		Total:       times(st.Blocks, uint64(st.Bsize)),
		FreeInodes:  times(st.Ffree, 1),
		TotalInodes: times(st.Files, 1),
	}
	if n, err := unix.Pathconf(s.path, pathconfNameMax); err == nil && n > 0 {
		s.space.NameLimit = n
	}
	return nil
}

// pathconfNameMax is _PC_NAME_MAX of bsd/sys/unistd.h.
const pathconfNameMax = 4

func deviceOf(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(uint32(st.Dev))
	}
	return 0
}
