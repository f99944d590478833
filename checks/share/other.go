//go:build unix && !linux && !darwin

package share

import (
	"context"
	"fmt"
	"io/fs"
	"net"

	"github.com/shirou/gopsutil/v3/disk"
)

const magicNFS = -1

func systemFolders() []string { return []string{"/"} }

func mounts(ctx context.Context) ([]Mount, error) {
	list, err := disk.PartitionsWithContext(ctx, true)
	if err != nil {
		return nil, fmt.Errorf("mount table: %w", err)
	}
	rows := make([]Mount, 0, len(list))
	for _, p := range list {
		rows = append(rows, Mount{From: p.Device, Point: p.Mountpoint, Root: "/", Type: p.Fstype, Options: plainOptions(p.Opts)})
	}
	return rows, nil
}

func inspect(s *seen) error {
	u, err := disk.Usage(s.path)
	if err != nil {
		return &fs.PathError{Op: "statfs", Path: s.path, Err: err}
	}
	s.fsType = u.Fstype
	s.space = Space{
		Free: int64(u.Free), Total: int64(u.Total),
		FreeInodes: int64(u.InodesFree), TotalInodes: int64(u.InodesTotal),
	}
	return nil
}

func deviceOf(fs.FileInfo) uint64 { return 0 }

func battery() (onBattery, known bool) { return false, false }

func (l *Link) measure(context.Context, *net.Interface) {}

// RawMount returns what the system says of a mount in its own words: nothing here.
func RawMount(context.Context, *Mount) string { return "" }
