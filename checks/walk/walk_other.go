//go:build !linux && !darwin

package walk

import (
	"os"
	"path/filepath"
)

type folder struct{}

func newSystem(root string) system { return newPortable(root) }

// Look looks at the entry rel ("/" between parts, "" the root itself) below root without following
// a link. rel may be longer than the system takes in one piece.
func Look(root, rel string) (Entry, error) { return portableLook(root, rel) }

// Open opens the plain file rel below root to read it, like Dir.Open. rel may be longer than the
// system takes in one piece.
func Open(root, rel string) (*os.File, error) { return portableOpen(root, rel) }

// Readlink returns what the link rel below root points to, like Dir.Readlink. rel may be longer than
// the system takes in one piece.
func Readlink(root, rel string) (string, error) { return portableReadlink(root, rel) }

// Xattrs returns the names of the extended attributes of a path outside a walk; of a link those of
// the link itself.
func Xattrs(root, rel string) ([]string, error) {
	return xattrs(filepath.Join(root, filepath.FromSlash(rel)))
}
