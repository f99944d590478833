package disk

import "errors"

// ErrLocked: somebody else has the lock.
var ErrLocked = errors.New("locked by somebody else")

// Full reports whether an error says that a disk has no space left, or its person no more of it.
func Full(err error) bool { return isOne(err, fullErrors) }

// ReadOnly reports whether an error says that a disk takes no changes at all.
func ReadOnly(err error) bool { return isOne(err, readOnlyErrors) }

// InUse reports whether an error says that a file or folder is kept by another program or by a mount.
func InUse(err error) bool { return isOne(err, inUseErrors) }

// NameRefused reports whether an error says that a disk takes no such name: it is too long, or has a
// character that the disk does not know.
func NameRefused(err error) bool { return isOne(err, nameErrors) }
