//go:build unix

package manifest

import "os"

// syncFolder flushes the names of a folder, so that a file put in place stays there.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
