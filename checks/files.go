package checks

import (
	"io"

	"loadline/checks/internal/disk"
)

// WriteNew writes a file that does not exist yet, whole or not at all, and never replaces another: it
// fails with fs.ErrExist where the name is taken. The window and the command write through it.
func WriteNew(path string, fill func(io.Writer) error) error { return disk.WriteNew(path, fill) }
