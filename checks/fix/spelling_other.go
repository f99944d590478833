//go:build !linux && !darwin

package fix

import "os"

// isHFSPlus reports whether a folder is on HFS+, as far as the system says.
func isHFSPlus(*os.File) bool { return false }
