//go:build !linux

package walk

import "path/filepath"

type folder struct{}

// Look looks at the entry rel ("/" between parts, "" the root itself) below root without following
// a link. rel may be longer than the system takes in one piece.
func Look(root, rel string) (Entry, error) { return portableLook(root, rel) }

// Readlink returns what the link rel below root points to, like Dir.Readlink. rel may be longer than
// the system takes in one piece.
func Readlink(root, rel string) (string, error) { return portableReadlink(root, rel) }

// Xattrs returns the names of the extended attributes of a path outside a walk; of a link those of
// the link itself.
func Xattrs(root, rel string) ([]string, error) {
	return xattrs(filepath.Join(root, filepath.FromSlash(rel)))
}
