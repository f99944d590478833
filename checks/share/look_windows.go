package share

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"os/exec"
	"path/filepath"
	"strings"

	"golang.org/x/sys/windows"
)

// magicNFS: there is no such number here; the type has a name.
const magicNFS = -1

// systemFolders is the drive that Windows runs from.
func systemFolders() []string {
	dir, err := windows.GetWindowsDirectory()
	if err != nil {
		return []string{`C:\`}
	}
	return []string{filepath.VolumeName(dir) + `\`}
}

// mounts lists the drives, and the options of those that the system's NFS client has mounted. It
// asks no volume, which could hang.
func mounts(ctx context.Context) ([]Mount, error) {
	mask, err := windows.GetLogicalDrives()
	if err != nil {
		return nil, fmt.Errorf("list of drives: %w", err)
	}
	var rows []Mount
	for i := range 26 {
		if mask>>i&1 == 0 {
			continue
		}
		point := string(rune('A'+i)) + `:\`
		m := Mount{From: point, Point: point, Root: "/"}
		if p, err := windows.UTF16PtrFromString(point); err == nil && windows.GetDriveType(p) == windows.DRIVE_REMOTE {
			m.Type = "smbfs" // unless the NFS client knows better
		}
		rows = append(rows, m)
	}
	// The client is an optional part of Windows; without it there is no such command. Whatever else has its name
	// somewhere on the path is not asked.
	system, err := windows.GetSystemDirectory()
	if err != nil {
		return nil, fmt.Errorf("the folder of the system: %w", err)
	}
	if text, err := exec.CommandContext(ctx, filepath.Join(system, "mount.exe")).Output(); err == nil {
		more, err := ParseWindowsMount(bytes.NewReader(text))
		if err != nil {
			return nil, err
		}
		for _, nfs := range more {
			for i := range rows {
				if rows[i].Point == nfs.Point {
					rows[i] = nfs
				}
			}
		}
	}
	return rows, nil
}

func inspect(s *seen) error {
	path, err := windows.UTF16PtrFromString(s.path)
	if err != nil {
		return err
	}
	volume := make([]uint16, windows.MAX_LONG_PATH)
	if err := windows.GetVolumePathName(path, &volume[0], uint32(len(volume))); err != nil {
		return &fs.PathError{Op: "GetVolumePathName", Path: s.path, Err: err}
	}
	s.point = strings.ToUpper(windows.UTF16ToString(volume))
	s.from = s.point
	s.network = windows.GetDriveType(&volume[0]) == windows.DRIVE_REMOTE || strings.HasPrefix(s.point, `\\`)
	var serial, longest, flags uint32
	name := make([]uint16, windows.MAX_PATH+1)
	if err := windows.GetVolumeInformation(&volume[0], nil, 0, &serial, &longest, &flags, &name[0], uint32(len(name))); err == nil {
		s.fsType = strings.ToLower(windows.UTF16ToString(name))
		s.device = uint64(serial)
		// Counted in UTF-16 units, each of which is at least one byte.
		s.space.NameLimit = int(longest)
	}
	var free, total, all uint64
	if err := windows.GetDiskFreeSpaceEx(path, &free, &total, &all); err != nil {
		return &fs.PathError{Op: "GetDiskFreeSpaceEx", Path: s.path, Err: err}
	}
	s.space.Free, s.space.Total = int64(min(free, math.MaxInt64)), int64(min(total, math.MaxInt64))
	return nil
}

// deviceOf: os.Stat does not say here; inspect does.
func deviceOf(fs.FileInfo) uint64 { return 0 }
