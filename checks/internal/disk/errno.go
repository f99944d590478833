package disk

import "errors"

// MediumError reports whether an error says that a place of a disk cannot be read, or that what was
// read there is not what was written: other places may be whole.
func MediumError(err error) bool { return isOne(err, mediumErrors) }

// Gone reports whether an error says that the disk is not there any more.
func Gone(err error) bool { return isOne(err, goneErrors) }

func isOne(err error, of []error) bool {
	for _, e := range of {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}
