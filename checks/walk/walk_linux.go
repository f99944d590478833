package walk

import "os"

type folder struct{}

func newSystem(root string) system { return newPortable(root) }

// Look looks at the entry rel below root without following a link.
func Look(root, rel string) (Entry, error) { return portableLook(root, rel) }

// Open opens the plain file rel below root to read it, like Dir.Open.
func Open(root, rel string) (*os.File, error) { return portableOpen(root, rel) }
