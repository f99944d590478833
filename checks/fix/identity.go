package fix

import (
	"io/fs"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/walk"
)

// identity is what tells a file from others: a step is only taken on the file that was planned.
type identity struct {
	Kind   walk.Kind `json:"kind"`
	Device uint64    `json:"device,omitempty"` // 0 where the system does not say
	Inode  uint64    `json:"inode,omitempty"`
	Size   int64     `json:"size"`
	Sec    int64     `json:"sec"`
	Nsec   int32     `json:"nsec"`
}

func (id identity) modTime() time.Time { return time.Unix(id.Sec, int64(id.Nsec)) }

// unchanged reports whether this is still the file that was planned. The size and date of a folder
// say nothing: they change with what is renamed in it. Where inode numbers are made up while the
// disk is mounted they say nothing either.
func (id identity) unchanged(planned identity, lasting bool) bool {
	if !id.same(planned, lasting) || lasting && !id.sameDevice(planned) {
		return false
	}
	if id.Kind != walk.File {
		return true
	}
	return id.Size == planned.Size && id.Sec == planned.Sec && id.Nsec == planned.Nsec
}

// sameDevice reports whether both are on one device, as far as the system says. On macOS its number is one
// of 32 bits with a sign, which is not widened in the same way everywhere.
func (id identity) sameDevice(planned identity) bool {
	return id.Device == 0 || planned.Device == 0 || uint32(id.Device) == uint32(planned.Device)
}

// same reports whether this is the same file, even if it was written to since. The device is not
// asked: its number changes when the disk is plugged in again.
func (id identity) same(planned identity, lasting bool) bool {
	if id.Kind != planned.Kind {
		return false
	}
	return !lasting || id.Inode == 0 || planned.Inode == 0 || id.Inode == planned.Inode
}

// identify takes from what the system said of a file what tells it from others.
func identify(info fs.FileInfo) identity {
	state := disk.StateOf(info)
	return identity{
		Kind: kindOf(info.Mode()), Device: state.Device, Inode: state.Number, Size: info.Size(),
		Sec: info.ModTime().Unix(), Nsec: int32(info.ModTime().Nanosecond()),
	}
}

func kindOf(m fs.FileMode) walk.Kind {
	switch {
	case m.IsRegular():
		return walk.File
	case m.IsDir():
		return walk.Folder
	case m&fs.ModeSymlink != 0:
		return walk.Link
	}
	return walk.Other
}
