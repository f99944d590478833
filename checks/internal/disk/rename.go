package disk

import (
	"errors"
	"io/fs"
	"os"
)

// RenameNew renames a file and never replaces another: where the new name is taken it fails with
// fs.ErrExist, and there is no moment between looking and renaming.
//
// Where neither the system nor the file system offers that, a regular file gets its new name as a
// second name (a hard link), and where there are none of those either, by a rename over an empty file
// that this call has made itself. Anything else then fails with errors.ErrUnsupported.
func RenameNew(from, to string) error {
	err := renameNoReplace(from, to)
	if !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	return renameByLink(from, to)
}

func renameByLink(from, to string) error {
	info, err := os.Lstat(from)
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: errors.ErrUnsupported}
	}
	err = os.Link(from, to)
	switch {
	case err == nil:
		if err := os.Remove(from); err != nil {
			return errors.Join(err, os.Remove(to)) // one file, one name: the old one
		}
		return nil
	case errors.Is(err, fs.ErrExist):
		// On NFS the answer to a call that was sent twice can be that what it made exists (link(2)). A second
		// name that somebody made before is told from that by the number of names: it was one.
		if now, lerr := os.Lstat(to); lerr == nil && os.SameFile(info, now) && links(info) == 1 {
			return os.Remove(from)
		}
		return err
	case errors.Is(err, fs.ErrNotExist):
		return err
	}
	return renameByClaim(from, to)
}

// renameByClaim takes the new name with an empty file, which the rename then replaces.
func renameByClaim(from, to string) error {
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	claim, err := f.Stat()
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(from, to)
	}
	if err == nil {
		return nil
	}
	if now, lerr := os.Lstat(to); lerr == nil && claim != nil && os.SameFile(claim, now) && now.Size() == 0 {
		err = errors.Join(err, os.Remove(to))
	}
	return err
}
