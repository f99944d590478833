package share

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"time"
)

// seen is what the system says of one folder.
type seen struct {
	path    string // absolute, links resolved
	device  uint64
	mountID int    // number of its row, 0 where the system does not say
	point   string // its mount point, "" where the system does not say
	fsType  string // its file system, "" where the system does not say
	from    string
	network bool // the system says that it is a network file system
	space   Space
}

// Look finds out what can be known of a folder without writing to it: its mount with the options
// in force, the space, the limits. deadline bounds the time that the file system may stay silent;
// 0 means DefaultDeadline.
//
// Errors, told apart with errors.Is: fs.ErrNotExist, ErrNotFolder, fs.ErrPermission, ErrSilent,
// ErrBusy, context.Canceled. With ErrSilent and ErrBusy the facts are not nil: they hold what the
// mount table, which answers without the server, says of the path.
func Look(ctx context.Context, path string, deadline time.Duration) (*Facts, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("the folder %q: %w", path, err)
	}
	s, err := Guard(ctx, deadline, func() (seen, error) { return resolve(abs) })
	switch {
	case Silent(err):
		rows, tableErr := Mounts(ctx)
		if tableErr != nil {
			return nil, fmt.Errorf("%q: %w", path, err)
		}
		return gather(ctx, rows, seen{path: abs, space: unknownSpace}, deadline), fmt.Errorf("%q: %w", path, err)
	case err != nil:
		return nil, explainLook(path, err)
	}
	rows, err := Mounts(ctx)
	if err != nil {
		return nil, fmt.Errorf("the mount table cannot be read: %w", err)
	}
	return gather(ctx, rows, s, deadline), nil
}

// LookBelow is Look for the folder prefix below path, which need not be there yet: it looks at the
// deepest part that is. Facts.Path says which that is, and its mount may be another than that of
// path where something is mounted inside the share, or where a link leads away. A prefix that is
// not relative, or climbs out, is an error.
func LookBelow(ctx context.Context, path, prefix string, deadline time.Duration) (*Facts, error) {
	prefix = filepath.FromSlash(prefix)
	if prefix == "" || prefix == "." {
		return Look(ctx, path, deadline)
	}
	if !filepath.IsLocal(prefix) {
		return nil, fmt.Errorf("the prefix %q must be a folder inside the share: no leading slash, and no way out of it", prefix)
	}
	for at := filepath.Clean(prefix); ; at = filepath.Dir(at) {
		f, err := Look(ctx, filepath.Join(path, at), deadline)
		if at == "." || !errors.Is(err, fs.ErrNotExist) {
			return f, err
		}
	}
}

var unknownSpace = Space{Free: -1, Total: -1, FreeInodes: -1}

// resolve follows the links of a path and asks the system about the folder at its end.
func resolve(abs string) (seen, error) {
	path, err := filepath.EvalSymlinks(abs)
	if err != nil {
		return seen{}, err
	}
	info, err := os.Stat(path)
	if err != nil {
		return seen{}, err
	}
	if !info.IsDir() {
		return seen{}, ErrNotFolder
	}
	s := seen{path: path, device: deviceOf(info), space: unknownSpace}
	err = inspect(&s)
	return s, err
}

// explainLook puts what went wrong in words that name a way out.
func explainLook(path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no folder %q; is the share mounted? %w", path, err)
	case errors.Is(err, ErrNotFolder):
		return fmt.Errorf("%q: %w; choose the folder where the share is mounted", path, ErrNotFolder)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("you may not look into %q: %w", path, err)
	case isStale(err):
		return fmt.Errorf("the server no longer knows the folder %q; unmount the share and mount it again: %w", path, err)
	}
	return fmt.Errorf("%q: %w", path, err)
}

// gather puts together what the mount table and the system say.
func gather(ctx context.Context, rows []Mount, s seen, deadline time.Duration) *Facts {
	f := &Facts{Path: s.path, Space: s.space, Device: s.device, Platform: ThisPlatform()}
	m, found := rowOf(rows, s)
	if !found {
		m = Mount{From: s.from, Point: s.point, Root: "/", Type: s.fsType, Device: s.device}
	}
	settleType(&m, s.fsType)
	f.Mount = m
	f.Network = s.network || network(m.Type)
	f.NFS = strings.HasPrefix(strings.ToLower(m.Type), "nfs") || s.space.Magic == magicNFS
	if f.NFS {
		f.Network = true
		f.Version = m.version()
	}
	if !found {
		return f
	}
	for _, own := range ownPlaces() {
		if o, ok := rowOf(rows, lookAtOwn(ctx, own, deadline)); ok && sameLocal(&m, &o) {
			f.System = true
		}
	}
	return f
}

// settleType fills in what the table of mounts does not say of a file system and the file system does. Windows tells
// of a drive only that it is remote.
func settleType(m *Mount, fsType string) {
	if m.Type == "" || m.Type == "smbfs" && strings.EqualFold(fsType, "nfs") {
		m.Type = fsType
	}
}

// rowOf finds the row of a folder: the one that the system names, else the one that covers it.
func rowOf(rows []Mount, s seen) (Mount, bool) {
	for i := len(rows) - 1; i >= 0; i-- {
		if s.mountID != 0 && rows[i].ID == s.mountID || s.mountID == 0 && s.point != "" && rows[i].Point == s.point {
			return rows[i], true
		}
	}
	return Covering(rows, s.path)
}

// ownPlaces are the folders that are on the system's own disks. Under sudo(8) the person is not the user
// that the process runs as.
func ownPlaces() []string {
	places := systemFolders()
	if home, err := os.UserHomeDir(); err == nil && filepath.IsAbs(home) {
		places = append(places, home)
	}
	if name := os.Getenv("SUDO_USER"); name != "" {
		if person, err := user.Lookup(name); err == nil && filepath.IsAbs(person.HomeDir) {
			places = append(places, person.HomeDir)
		}
	}
	return places
}

// lookAtOwn looks at one of them. A home folder may itself be on a server that is gone; then its
// path has to do.
func lookAtOwn(ctx context.Context, path string, deadline time.Duration) seen {
	s, err := Guard(ctx, deadline, func() (seen, error) { return resolve(path) })
	if err != nil {
		return seen{path: path}
	}
	return s
}

// SameFileSystem says whether two folders are on one file system. Links are followed. It may hang
// where one of them is on a share: call it behind Guard.
func SameFileSystem(a, b string) (bool, error) {
	return compare("file systems of", a, b, func(x, y seen) (bool, error) {
		if x.device == y.device && x.device != 0 {
			return true, nil
		}
		rows, err := mounts(context.Background())
		if err != nil {
			return false, err
		}
		mx, okX := rowOf(rows, x)
		my, okY := rowOf(rows, y)
		if !okX || !okY {
			return false, nil
		}
		// Two mounts of one export may have device numbers of their own; it is one file system still.
		twice := network(mx.Type) && network(my.Type) && mx.From == my.From
		return twice || sameLocal(&mx, &my), nil
	})
}

// Nested says whether one folder is the other or is in it. Links are followed; two names of one
// folder, a bind mount or one that differs in case on a disk that folds case, are the same folder.
// It may hang where one of them is on a share: call it behind Guard.
func Nested(a, b string) (bool, error) {
	return compare("folders", a, b, func(x, y seen) (bool, error) {
		in, err := below(x.path, y.path)
		if in || err != nil {
			return in, err
		}
		return below(y.path, x.path)
	})
}

// Inside says whether path is folder or is in it. Links are followed, and both must be there. It may hang
// where one of them is on a share: call it behind Guard.
func Inside(folder, path string) (bool, error) {
	return compare("folders", folder, path, func(x, y seen) (bool, error) { return below(x.path, y.path) })
}

// InsideOnce is Inside for a path that need not be there yet: it says where it would be.
func InsideOnce(folder, path string) (bool, error) {
	for {
		if _, err := os.Stat(path); err == nil {
			return Inside(folder, path)
		}
		up := filepath.Dir(path)
		if up == path {
			return false, nil
		}
		path = up
	}
}

// compare asks something of two places.
func compare(what, a, b string, ask func(x, y seen) (bool, error)) (bool, error) {
	x, err := resolveAbs(a)
	if err == nil {
		var y seen
		if y, err = resolveAbs(b); err == nil {
			var is bool
			if is, err = ask(x, y); err == nil {
				return is, nil
			}
		}
	}
	return false, fmt.Errorf("comparing the %s %q and %q: %w", what, a, b, err)
}

// below climbs from path to the root and says whether it meets folder.
func below(folder, path string) (bool, error) {
	want, err := os.Stat(folder)
	if err != nil {
		return false, err
	}
	for {
		info, err := os.Stat(path)
		if err != nil {
			return false, err
		}
		if os.SameFile(want, info) {
			return true, nil
		}
		up := filepath.Dir(path)
		if up == path {
			return false, nil
		}
		path = up
	}
}

func resolveAbs(path string) (seen, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return seen{}, err
	}
	return resolve(abs)
}
