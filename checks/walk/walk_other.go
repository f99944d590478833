//go:build !linux && !darwin

package walk

func newSystem(root string) system { return newPortable(root) }

func xattrs(string) ([]string, error) { return nil, nil }

// XattrSize: nothing is known here.
func XattrSize(_, _ string) int64 { return 0 }
