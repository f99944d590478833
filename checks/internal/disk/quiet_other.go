//go:build !unix

package disk

import (
	"os"
	"path/filepath"
)

// OpenQuiet opens a file for reading.
func OpenQuiet(path string) (*os.File, error) { return os.Open(path) }

// OpenQuietBelow opens a file below a folder for reading. Package os takes care of long paths here.
func OpenQuietBelow(folder, rel string) (*os.File, error) {
	return OpenQuiet(filepath.Join(folder, rel))
}
