//go:build unix

package disk

import "golang.org/x/sys/unix"

var (
	fullErrors     = []error{unix.ENOSPC, unix.EDQUOT}
	readOnlyErrors = []error{unix.EROFS}
	inUseErrors    = []error{unix.EBUSY, unix.ETXTBSY}
	nameErrors     = []error{unix.ENAMETOOLONG, unix.EILSEQ}
)
