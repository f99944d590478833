package checks

import "loadline/checks/internal/disk"

// KeepAwake keeps this computer from going to sleep by itself until release is called. The error says why
// it cannot; release then does nothing. It may take some seconds, so call it where nobody waits. Taken and
// given back at once, it tells whether there is a way at all.
func KeepAwake(reason string) (release func(), err error) {
	release, _, err = disk.Awake(reason)
	return release, err
}
