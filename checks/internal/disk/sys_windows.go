package disk

import (
	"errors"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// RenameNewAt renames within one open folder and fails with fs.ErrExist where the new name is taken
// (MoveFileEx without MOVEFILE_REPLACE_EXISTING). The system looks the folder up by its path.
func RenameNewAt(dir *os.File, from, to string) error {
	return renameNoReplace(filepath.Join(dir.Name(), from), filepath.Join(dir.Name(), to))
}

func renameNoReplace(from, to string) error { return move(from, to, 0) }

// RenameOverAt renames within one open folder over the file that has the new name. A folder is never
// replaced here.
func RenameOverAt(dir *os.File, from, to string) error {
	return move(filepath.Join(dir.Name(), from), filepath.Join(dir.Name(), to), windows.MOVEFILE_REPLACE_EXISTING)
}

func move(from, to string, how uint32) error {
	a, err := wide(from)
	if err == nil {
		var b *uint16
		if b, err = wide(to); err == nil {
			// Written through: the call returns when the rename is on the disk, which is what a flush of the folder
			// does elsewhere.
			err = windows.MoveFileEx(a, b, how|windows.MOVEFILE_WRITE_THROUGH)
		}
	}
	if err != nil {
		return &os.LinkError{Op: "MoveFileEx", Old: from, New: to, Err: err}
	}
	return nil
}

// Flush waits until a file has arrived on the disk (FlushFileBuffers). Folders have no such call here
// and need none: renames are written through.
func Flush(f *os.File) error {
	err := f.Sync()
	if err != nil {
		if info, serr := f.Stat(); serr == nil && info.IsDir() {
			return nil
		}
	}
	return err
}

// LastingNumbers reports whether a file in an open folder has one number for as long as it lives: on
// NTFS and ReFS it does (learn.microsoft.com, BY_HANDLE_FILE_INFORMATION, nFileIndexLow).
func LastingNumbers(dir *os.File) bool {
	var name [windows.MAX_PATH + 1]uint16
	if windows.GetVolumeInformationByHandle(windows.Handle(dir.Fd()), nil, 0, nil, nil, nil, &name[0], uint32(len(name))) != nil {
		return false
	}
	switch windows.UTF16ToString(name[:]) {
	case "NTFS", "ReFS":
		return true
	}
	return false
}

var errPath = errors.New("not a path of this system")

// wide is a path as the system's calls take it. Paths of more than 259 units need the prefix \\?\,
// which takes a full path with backslashes only.
func wide(path string) (*uint16, error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, errors.Join(errPath, err)
	}
	if len(full) >= windows.MAX_PATH-12 {
		full = longPath(full)
	}
	return windows.UTF16PtrFromString(full)
}
