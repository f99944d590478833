package disk

import (
	"errors"
	"os"
	"slices"
)

// MediumError reports whether an error says that a place of a disk cannot be read, or that what was
// read there is not what was written: other places may be whole.
func MediumError(err error) bool { return isOne(err, mediumErrors) }

// Gone reports whether an error says that the disk is not there any more.
func Gone(err error) bool { return isOne(err, goneErrors) }

func isOne(err error, of []error) bool {
	return slices.ContainsFunc(of, func(e error) bool { return errors.Is(err, e) })
}

// WithoutPath takes the paths off an error, and what was done to them: whoever shows it has said both in words, and a
// path may hold anything.
func WithoutPath(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}

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
