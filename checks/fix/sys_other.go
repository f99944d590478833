//go:build !linux && !darwin

package fix

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// identify takes from what the system said of a file what tells it from others.
func identify(info fs.FileInfo) identity {
	return identity{Kind: kindOf(info.Mode()), Size: info.Size(), Sec: info.ModTime().Unix(), Nsec: int32(info.ModTime().Nanosecond())}
}

func ownerOf(fs.FileInfo) owner { return owner{} }

// renameExclusive is not offered by the system in a folder that is open.
func renameExclusive(*os.File, string, string) error { return errors.ErrUnsupported }

func flush(*os.File) error { return nil }

const flushesAll = false

func lastingInodes(*os.File) bool { return false }

var locked sync.Map // by path, in this process; journals tell of plans of others

func lock(dir *os.File) error {
	path, err := filepath.Abs(dir.Name())
	if err != nil {
		return err
	}
	if _, taken := locked.LoadOrStore(path, true); taken {
		return ErrBusy
	}
	return nil
}

func linkTimes(*os.File, string, time.Time) error { return errors.ErrUnsupported }

func unlock(dir *os.File) {
	if path, err := filepath.Abs(dir.Name()); err == nil {
		locked.Delete(path)
	}
}

func renameOver(*os.File, string, string) error { return errors.ErrUnsupported }

const quietly = 0

func accessTime(fs.FileInfo) time.Time { return time.Now() }

func passCache(*os.File) {}
