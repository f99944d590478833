package share

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
)

// Mounts returns the mount table, oldest row first, with the options in force as far as the system
// tells them. It does not touch the mounted file systems, so that a share whose server is gone
// does not hold it up.
func Mounts(ctx context.Context) ([]Mount, error) {
	return Guard(ctx, DefaultDeadline, func() ([]Mount, error) { return mounts(ctx) })
}

// Covering returns the row that a path is on. path is absolute, its links are resolved. Where
// the rows have numbers the table is walked as the system resolves a path: from the root, always
// over the mount that is met first and newest; elsewhere the longest match counts, of stacked ones
// the newest.
func Covering(mounts []Mount, path string) (Mount, bool) {
	path = filepath.Clean(path)
	if len(path) > 1 && path[1] == ':' && filepath.Separator == '\\' {
		path = strings.ToUpper(path[:1]) + path[1:] // drives stand in capitals in the table
	}
	if m, ok := descend(mounts, path); ok {
		return m, true
	}
	best := -1
	for i := range mounts {
		if Within(mounts[i].Point, path) && (best < 0 || len(mounts[i].Point) >= len(mounts[best].Point)) {
			best = i
		}
	}
	if best < 0 {
		return Mount{}, false
	}
	return mounts[best], true
}

// descend walks the tree of mounts. It fails on tables without numbers and on those that do not
// show a root (seen from within a chroot, or of a system without mount numbers).
func descend(mounts []Mount, path string) (Mount, bool) {
	ids := make(map[int]bool, len(mounts))
	for i := range mounts {
		ids[mounts[i].ID] = true
	}
	at := -1
	for i := range mounts {
		m := &mounts[i]
		if m.ID != 0 && m.Point == string(filepath.Separator) && (!ids[m.Parent] || m.Parent == m.ID) {
			at = i
		}
	}
	if at < 0 {
		return Mount{}, false
	}
	for range mounts { // a damaged table may hold a ring: no more steps than rows
		next := -1
		for i := range mounts {
			m := &mounts[i]
			if i == at || m.Parent != mounts[at].ID || m.ID == mounts[at].ID || !Within(m.Point, path) {
				continue
			}
			// The shortest is met first. Of two at one point the later one was put on top.
			if next < 0 || len(m.Point) <= len(mounts[next].Point) {
				next = i
			}
		}
		if next < 0 {
			return mounts[at], true
		}
		at = next
	}
	return Mount{}, false
}

// Within says whether path is folder or is below it, by their names alone. Both are clean and absolute.
func Within(folder, path string) bool {
	if !strings.HasPrefix(path, folder) {
		return false
	}
	return len(path) == len(folder) || strings.HasSuffix(folder, string(filepath.Separator)) ||
		path[len(folder)] == filepath.Separator
}

// LocalBelow returns where something that does not come from the network is mounted below a folder, in the
// order of the table. folder is absolute, its links are resolved. A server may split its export into file
// systems: their rows are those of a network file system too.
func LocalBelow(mounts []Mount, folder string) []string {
	folder = filepath.Clean(folder)
	var points []string
	for i := range mounts {
		m := &mounts[i]
		if m.Point == folder || !Within(folder, m.Point) || network(m.Type) {
			continue
		}
		if now, ok := Covering(mounts, m.Point); ok && now.Point == m.Point && !network(now.Type) && !slices.Contains(points, m.Point) {
			points = append(points, m.Point)
		}
	}
	return points
}

// networkTypes are file system types whose files are on another machine (kernel documentation
// under filesystems/, mount(8) of the systems that have them).
var networkTypes = []string{
	"nfs", "nfs4", "cifs", "smb3", "smbfs", "afpfs", "webdav", "ceph", "9p", "afs", "coda", "ncpfs",
	"lustre", "glusterfs", "fuse.sshfs", "fuse.glusterfs", "fuse.ceph", "davfs", "fuse.davfs",
}

// network says whether a type is that of a network file system.
func network(fsType string) bool { return slices.Contains(networkTypes, strings.ToLower(fsType)) }

// Remote reports whether somebody else than this kernel judges permissions there: a server, or a
// FUSE daemon.
func (m *Mount) Remote() bool { return network(m.Type) || strings.HasPrefix(m.Type, "fuse") }

// version returns the version of the NFS protocol of a row: "3", "4.2".
func (m *Mount) version() string {
	for _, name := range []string{"vers", "nfsvers"} {
		if v, ok := m.Option(name); ok && v != "" {
			return strings.TrimSuffix(v, ".0")
		}
	}
	if strings.EqualFold(m.Type, "nfs4") {
		return "4"
	}
	return ""
}

// Server returns the host that a network mount comes from, "" where the row names none. An addr=
// option, which holds the address in use, goes before the name that the mount was asked for with.
func (m *Mount) Server() string {
	if addr, ok := m.Option("addr"); ok && addr != "" {
		return addr
	}
	if rest, ok := strings.CutPrefix(strings.ReplaceAll(m.From, `\`, "/"), "//"); ok { // //host/share
		host, _, _ := strings.Cut(rest, "/")
		if _, after, ok := strings.Cut(host, "@"); ok { // //user@host/share
			host = after
		}
		return host
	}
	if !network(m.Type) {
		return ""
	}
	if rest, ok := strings.CutPrefix(m.From, "["); ok { // [2001:db8::1]:/export
		if host, _, ok := strings.Cut(rest, "]"); ok {
			return host
		}
	}
	host, _, ok := strings.Cut(m.From, ":/")
	if !ok {
		return ""
	}
	return host
}

// sameLocal says whether two rows show the same file system of this computer.
func sameLocal(a, b *Mount) bool {
	switch {
	case a.ID != 0 && a.ID == b.ID:
		return true
	case network(a.Type) || network(b.Type):
		// Another row of the same export is a share that was mounted on purpose.
		return a.ID == 0 && b.ID == 0 && a.Point == b.Point && a.From == b.From
	case a.Device != 0 && a.Device == b.Device:
		return true // a bind mount: its bytes go to the same disk
	case a.From == b.From && strings.HasPrefix(a.From, "/dev/"):
		return true // parts of one btrfs have device numbers of their own
	}
	return a.ID == 0 && b.ID == 0 && a.Point == b.Point && a.From == b.From
}
