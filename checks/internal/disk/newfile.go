// Package disk holds what systems do differently with files and the disks under them: a new file that
// never replaces another, flushing, reading past the cache, knowing a file or a disk again, the order
// of files on a disk, what a disk is and whether it is failing, and keeping the computer awake.
//
// It knows nothing of checks and imports no other package of the project. Calls on a share can hang
// for as long as its server is gone, as all calls there can: the caller guards them.
package disk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// WriteNew writes a file that does not exist yet, whole or not at all: under a temporary name beside
// it, flushed, and then renamed in a way that never replaces another file. It fails with fs.ErrExist
// where the name is taken, and leaves nothing behind where it fails.
func WriteNew(path string, fill func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "create", Path: path, Err: fs.ErrExist} // told before the work, not after it
	}
	tmp, err := writeTemporary(path, 0, fill)
	if err != nil {
		return err
	}
	if err := RenameNew(tmp.path, path); err != nil {
		return errors.Join(renamed(err, path), tmp.remove(tmp.path))
	}
	if err := FlushFolder(filepath.Dir(path)); err != nil {
		// What may not outlast a power cut must not look finished.
		return errors.Join(err, tmp.remove(path))
	}
	return nil
}

// WriteNumbered is WriteNew under the first free name of path and path with -2, -3 … before its
// extension. It returns the name that was free.
func WriteNumbered(path string, fill func(io.Writer) error) (string, error) {
	const most = 1000
	ext := filepath.Ext(path)
	stem := strings.TrimSuffix(path, ext)
	for n := 1; n <= most; n++ {
		name := path
		if n > 1 {
			name = stem + "-" + strconv.Itoa(n) + ext
		}
		if err := WriteNew(name, fill); !errors.Is(err, fs.ErrExist) {
			return name, err
		}
	}
	return "", fmt.Errorf("%s and %d numbered names after it are taken: %w", path, most-1, fs.ErrExist)
}

// Replace writes a file in the place of the one of that name, if there is one: a crash leaves the old
// file or the new one, whole. The new file has the permissions of the old one. Where path is a
// symbolic link, the file that it leads to is replaced.
func Replace(path string, fill func(io.Writer) error) error {
	if to, err := filepath.EvalSymlinks(path); err == nil {
		path = to
	}
	var mode fs.FileMode
	if info, err := os.Stat(path); err == nil {
		if !info.Mode().IsRegular() {
			return &fs.PathError{Op: "replace", Path: path, Err: errors.New("not a regular file")}
		}
		mode = info.Mode().Perm()
	}
	tmp, err := writeTemporary(path, mode, fill)
	if err != nil {
		return err
	}
	if err := os.Rename(tmp.path, path); err != nil {
		return errors.Join(renamed(err, path), tmp.remove(tmp.path))
	}
	return FlushFolder(filepath.Dir(path))
}

// A temporary is a finished file that does not have its name yet.
type temporary struct {
	path string
	info fs.FileInfo
}

// remove removes the file if it is still the one that was written.
func (t *temporary) remove(path string) error {
	info, err := os.Lstat(path)
	if err == nil && os.SameFile(info, t.info) {
		err = os.Remove(path)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// writeTemporary writes and flushes a file beside path. Its permissions are mode, or where that is 0
// what the person's umask leaves of 0666, as with any file that a program makes.
func writeTemporary(path string, mode fs.FileMode, fill func(io.Writer) error) (t *temporary, err error) {
	if err := Creatable(path); err != nil {
		return nil, &fs.PathError{Op: "create", Path: path, Err: err}
	}
	f, err := createTemporary(path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			// The first error is the one to tell, but that something stays behind is told too.
			_ = f.Close()
			if gone := os.Remove(f.Name()); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
				err = errors.Join(err, gone)
			}
		}
	}()
	if mode != 0 {
		// Not every file system keeps permissions, and not every owner may set them.
		if err := f.Chmod(mode); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, fs.ErrPermission) {
			return nil, err
		}
	}
	w := bufio.NewWriterSize(f, 1<<20)
	if err := fill(w); err != nil {
		return nil, err
	}
	if err := w.Flush(); err != nil {
		return nil, err
	}
	// The first fsync tells of lost writes, and only the first (fsync(2)).
	if err := Flush(f); err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	// On a share, closing may be what tells of lost writes (close(2), NFS).
	if err := f.Close(); err != nil {
		return nil, err
	}
	return &temporary{f.Name(), info}, nil
}

// temporaryEnd ends the names of files that are being written. The checks know it as the mark of an
// unfinished file.
const temporaryEnd = ".part"

// longestName is the most bytes of a name on nearly every file system (limits.h, NAME_MAX).
const longestName = 255

func createTemporary(path string) (*os.File, error) {
	dir, base := filepath.Split(path)
	for range 1000 {
		number := strconv.FormatUint(rand.Uint64()>>32, 10)
		name := "." + shortened(base, longestName-len("..")-len(number)-len(temporaryEnd)) + "." + number + temporaryEnd
		f, err := os.OpenFile(filepath.Join(dir, name), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
	return nil, &fs.PathError{Op: "create", Path: path, Err: fs.ErrExist}
}

// shortened cuts a name to at most n bytes, never inside a character: some file systems take only
// valid UTF-8.
func shortened(name string, n int) string {
	if len(name) <= n {
		return name
	}
	for n > 0 && !utf8.RuneStart(name[n]) {
		n--
	}
	return name[:n]
}

// Temporary tells of a name whether it is one under which WriteNew or Replace write, and for which
// file.
func Temporary(name string) (file string, ok bool) {
	rest, ok := strings.CutPrefix(name, ".")
	if !ok {
		return "", false
	}
	if rest, ok = strings.CutSuffix(rest, temporaryEnd); !ok {
		return "", false
	}
	at := strings.LastIndexByte(rest, '.')
	if at <= 0 || at+1 == len(rest) || strings.Trim(rest[at+1:], "0123456789") != "" {
		return "", false
	}
	return rest[:at], true
}

// Sweep removes what writers that were cut off left behind in a folder of the project's own: regular
// files with a temporary name, older than age, whose file is one that ours accepts. What cannot be
// removed stays.
func Sweep(dir string, age time.Duration, now time.Time, ours func(file string) bool) {
	d, err := os.Open(dir)
	if err != nil {
		return
	}
	defer d.Close()
	for {
		names, err := d.Readdirnames(4096)
		for _, name := range names {
			file, ok := Temporary(name)
			if !ok || !ours(file) {
				continue
			}
			path := filepath.Join(dir, name)
			if info, err := os.Lstat(path); err == nil && info.Mode().IsRegular() && now.Sub(info.ModTime()) >= age {
				_ = os.Remove(path) // it only takes up room
			}
		}
		if err != nil || len(names) == 0 {
			return
		}
	}
}

// renamed gives an error of a rename the name that the person knows.
func renamed(err error, path string) error {
	var link *os.LinkError
	if errors.As(err, &link) {
		return &fs.PathError{Op: "create", Path: path, Err: link.Err}
	}
	return err
}
