package manifest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// WriteNew writes a file that did not exist, whole or not at all: into a temporary name beside it,
// flushed, then put in place without ever replacing another file. It fails with fs.ErrExist where
// the name is taken.
func WriteNew(path string, fill func(io.Writer) error) (err error) {
	dir, base := filepath.Split(path)
	tmp, err := os.CreateTemp(filepath.Clean(dir), "."+base+".*"+temporaryEnd)
	if err != nil {
		return err
	}
	defer func() {
		// After a hard link has put the file in place, this takes the temporary name away.
		_ = tmp.Close()
		if gone := os.Remove(tmp.Name()); err == nil && gone != nil && !errors.Is(gone, fs.ErrNotExist) {
			err = gone
		}
	}()
	w := bufio.NewWriterSize(tmp, 1<<20)
	if err := fill(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if err := tmp.Chmod(0o644); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, fs.ErrPermission) {
		return err
	}
	// The first fsync tells of lost writes, and only the first (fsync(2)).
	if err := tmp.Sync(); err != nil {
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	if err := place(tmp.Name(), path); err != nil {
		return err
	}
	return syncFolder(filepath.Clean(dir))
}

// temporaryEnd ends the names of files that are being written.
const temporaryEnd = ".part"

// place gives a finished file its name unless that is taken. Where the file system has no hard
// links the name is taken with an empty file first, which the rename then replaces.
func place(tmp, path string) error {
	err := os.Link(tmp, path)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(tmp, path)
}

// WriteNumbered is WriteNew under the first free of the names path, then path with -2, -3 … before
// its extension. It returns the name that was taken.
func WriteNumbered(path string, fill func(io.Writer) error) (string, error) {
	ext := filepath.Ext(path)
	stem := strings.TrimSuffix(path, ext)
	for n := 1; n < 1000; n++ {
		name := path
		if n > 1 {
			name = fmt.Sprintf("%s-%d%s", stem, n, ext)
		}
		err := WriteNew(name, fill)
		if !errors.Is(err, fs.ErrExist) {
			return name, err
		}
	}
	return "", fmt.Errorf("%s and 999 numbered names after it are taken: %w", path, fs.ErrExist)
}

// Sweep removes what a run that was killed left of a manifest in a folder: the file under its temporary
// name. Nothing else is touched, and nothing that cannot be removed is told: it is told as a leftover.
func Sweep(dir string) {
	d, err := os.Open(dir)
	if err != nil {
		return
	}
	defer d.Close()
	for {
		list, err := d.Readdirnames(4096)
		for _, name := range list {
			if !isUnfinished(name) {
				continue
			}
			path := filepath.Join(dir, name)
			if info, err := os.Lstat(path); err == nil && info.Mode().IsRegular() {
				_ = os.Remove(path)
			}
		}
		if err != nil {
			return
		}
	}
}

// isUnfinished reports whether a name is the temporary one of a manifest; see WriteNew.
func isUnfinished(name string) bool {
	rest, ok := strings.CutPrefix(name, ".")
	if !ok {
		return false
	}
	if rest, ok = strings.CutSuffix(rest, temporaryEnd); !ok {
		return false
	}
	at := strings.LastIndexByte(rest, '.')
	return at >= 0 && at+1 < len(rest) && strings.Trim(rest[at+1:], "0123456789") == "" && IsName(rest[:at])
}
