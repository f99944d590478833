package disk

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/windows"
)

// fillState: what a look at a name tells here has no number of the file in it.
func fillState(*State, fs.FileInfo) {}

// Stat is the state of an open file.
func Stat(f *os.File) (State, error) { return stateOf(windows.Handle(f.Fd()), f.Name()) }

// Lstat is the state of a file, itself and not what it may link to.
func Lstat(path string) (State, error) {
	h, err := openToAsk(path, windows.FILE_FLAG_OPEN_REPARSE_POINT)
	if err != nil {
		return State{}, err
	}
	defer windows.CloseHandle(h)
	return stateOf(h, path)
}

// openToAsk opens a file or folder to ask about it only.
func openToAsk(path string, flags uint32) (windows.Handle, error) {
	name, err := wide(path)
	if err != nil {
		return windows.InvalidHandle, &os.PathError{Op: "open", Path: path, Err: err}
	}
	h, err := windows.CreateFile(name, windows.FILE_READ_ATTRIBUTES,
		windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE|windows.FILE_SHARE_DELETE, nil, windows.OPEN_EXISTING,
		windows.FILE_FLAG_BACKUP_SEMANTICS|flags, 0)
	if err != nil {
		return windows.InvalidHandle, &os.PathError{Op: "open", Path: path, Err: err}
	}
	return h, nil
}

func stateOf(h windows.Handle, path string) (State, error) {
	var info windows.ByHandleFileInformation
	if err := windows.GetFileInformationByHandle(h, &info); err != nil {
		return State{}, &os.PathError{Op: "GetFileInformationByHandle", Path: path, Err: err}
	}
	s := State{
		Device:   uint64(info.VolumeSerialNumber),
		Number:   uint64(info.FileIndexHigh)<<32 | uint64(info.FileIndexLow),
		Size:     int64(uint64(info.FileSizeHigh)<<32 | uint64(info.FileSizeLow)),
		Modified: info.LastWriteTime.Nanoseconds(),
	}
	// FILE_BASIC_INFO (winbase.h): created, last read, written, changed, of 64 bits each, then attributes.
	var basic [40]byte
	if err := windows.GetFileInformationByHandleEx(h, windows.FileBasicInfo, &basic[0], uint32(len(basic))); err != nil {
		return s, nil // not known again, but known
	}
	changed := binary.LittleEndian.Uint64(basic[24:])
	ft := windows.Filetime{LowDateTime: uint32(changed), HighDateTime: uint32(changed >> 32)}
	s.Changed, s.Known = ft.Nanoseconds(), s.Number != 0
	// FILE_ID_INFO (winbase.h): a serial of 64 bits and an ID of 128, which ReFS needs; on NTFS the upper
	// half is nothing.
	var id [24]byte
	if windows.GetFileInformationByHandleEx(h, windows.FileIdInfo, &id[0], uint32(len(id))) == nil {
		s.Device = binary.LittleEndian.Uint64(id[0:])
		s.Number = binary.LittleEndian.Uint64(id[8:]) ^ binary.LittleEndian.Uint64(id[16:])
		s.Known = s.Number != 0
	}
	return s, nil
}

// DiskID returns what the volume under a path is known by on every drive letter and every port: its
// serial number. It is "" where the volume has none, and on a share.
func DiskID(path string) (string, error) {
	h, err := openToAsk(path, 0)
	if err != nil {
		return "", err
	}
	defer windows.CloseHandle(h)
	if remote, err := onShare(path); remote || err != nil {
		return "", err
	}
	s, err := stateOf(h, path)
	if err != nil || s.Device == 0 {
		return "", err
	}
	return fmt.Sprintf("serial:%016x", s.Device), nil
}

// offset tells where on its volume a file begins, clusters, so that many can be read in the order of
// the disk; false where that is not known. Files too small to have a place of their own have none
// (FSCTL_GET_RETRIEVAL_POINTERS).
func offset(f *os.File) (at int64, ok bool) {
	var from [8]byte // STARTING_VCN_INPUT_BUFFER: the first cluster of the file
	var b [32]byte
	var n uint32
	err := windows.DeviceIoControl(windows.Handle(f.Fd()), windows.FSCTL_GET_RETRIEVAL_POINTERS, &from[0], uint32(len(from)), &b[0], uint32(len(b)), &n, nil)
	if err != nil && !errors.Is(err, windows.ERROR_MORE_DATA) { // there are more extents than one
		return 0, false
	}
	return retrievalAnswer(b[:n])
}

// onShare reports whether a path leads to another machine.
func onShare(path string) (bool, error) {
	volume, err := volumeOf(path)
	if err != nil {
		return false, err
	}
	p, err := windows.UTF16PtrFromString(volume)
	if err != nil {
		return false, err
	}
	return windows.GetDriveType(p) == windows.DRIVE_REMOTE, nil
}

// volumeOf returns the root of the volume that a path is on, with a backslash at its end.
func volumeOf(path string) (string, error) {
	name, err := wide(path)
	if err != nil {
		return "", err
	}
	var b [windows.MAX_LONG_PATH]uint16
	if err := windows.GetVolumePathName(name, &b[0], uint32(len(b))); err != nil {
		return "", &os.PathError{Op: "GetVolumePathName", Path: path, Err: err}
	}
	return windows.UTF16ToString(b[:]), nil
}

// AccessTime is when a file was last read, as the system said it of the file; now where it did not.
func AccessTime(info fs.FileInfo) time.Time {
	if data, ok := info.Sys().(*syscall.Win32FileAttributeData); ok {
		return time.Unix(0, data.LastAccessTime.Nanoseconds())
	}
	return time.Now()
}
