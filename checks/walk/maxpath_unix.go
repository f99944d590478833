//go:build unix && !linux

package walk

// maxPath is PATH_MAX of limits.h on macOS and the BSDs, its NUL included.
const maxPath = 1024
