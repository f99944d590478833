//go:build !unix

package disk

import "os"

// OpenQuiet opens a file for reading.
func OpenQuiet(path string) (*os.File, error) { return os.Open(path) }
