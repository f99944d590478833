//go:build !unix

package manifest

// syncFolder has nothing to do: folders cannot be flushed here.
func syncFolder(string) error { return nil }
