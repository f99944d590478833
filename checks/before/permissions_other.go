//go:build !linux

package before

// overridesPermissions reports whether this process may read any file. Where that is not known from
// a capability, every file is asked for.
func overridesPermissions() bool { return false }
