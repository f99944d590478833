package demo

import (
	"errors"
	"io"
	"os"
	"path/filepath"

	"loadline/checks/internal/disk"
)

// A demo that is killed cannot remove its folder: the next one does. The marker in it says that it is a
// demo's, and is locked for as long as its program lives, however that ends.
const (
	folderNames = "loadline-demo-*"
	markerName  = ".demo"
	markerText  = "This folder is a demo of Loadline. It is removed when its window closes.\n"
)

// mark writes the marker and locks it before it says anything: a marker with its text and without a lock
// is of a program that is gone.
func mark(folder string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(folder, markerName), os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := disk.LockAlone(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	if _, err := f.WriteString(markerText); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Sweep removes the folders of demos that were killed, and nothing else.
func Sweep() error {
	left, err := filepath.Glob(filepath.Join(os.TempDir(), folderNames))
	for _, folder := range left {
		if abandoned(folder) {
			err = errors.Join(err, (&Demo{Folder: folder}).Close())
		}
	}
	return err
}

// abandoned reports whether a folder is a demo's whose program has ended.
func abandoned(folder string) bool {
	if info, err := os.Lstat(folder); err != nil || !info.IsDir() {
		return false
	}
	name := filepath.Join(folder, markerName)
	if info, err := os.Lstat(name); err != nil || !info.Mode().IsRegular() {
		return false
	}
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return false
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, int64(len(markerText))+1))
	return err == nil && string(text) == markerText && disk.LockAlone(f) == nil
}
