package disk

import (
	"encoding/binary"
	"strings"

	"golang.org/x/sys/windows"
)

// MediumOf tells what the folder at a path is on: network drives by their kind, disks by what the
// driver says of seeking and of the bus (IOCTL_STORAGE_QUERY_PROPERTY, for which anybody may ask). The
// speed of a USB link is not told here.
func MediumOf(path string) Medium {
	volume, err := volumeOf(path)
	if err != nil {
		return Medium{}
	}
	p, err := windows.UTF16PtrFromString(volume)
	if err != nil {
		return Medium{}
	}
	switch windows.GetDriveType(p) {
	case windows.DRIVE_REMOTE:
		return Medium{Network: Yes, Rotates: No, USB: No}
	case windows.DRIVE_RAMDISK:
		return Medium{Network: No, Memory: true, Rotates: No, USB: No}
	}
	m := Medium{Network: No}
	// A volume is opened by its own name: folders where volumes are mounted have no drive letter.
	var name [50]uint16 // \\?\Volume{GUID}\ has 49 units (GetVolumeNameForVolumeMountPoint)
	if err := windows.GetVolumeNameForVolumeMountPoint(p, &name[0], uint32(len(name))); err != nil {
		return m
	}
	m.Volume = strings.TrimSuffix(windows.UTF16ToString(name[:]), `\`)
	device, err := windows.UTF16PtrFromString(m.Volume)
	if err != nil {
		return m
	}
	h, err := windows.CreateFile(device, 0, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE, nil, windows.OPEN_EXISTING, 0, 0)
	if err != nil {
		return m
	}
	defer windows.CloseHandle(h)
	m.Rotates = seekPenalty(property(h, propertySeekPenalty))
	m.USB = onUSB(property(h, propertyDevice))
	return m
}

// property asks the driver of a disk for one of its properties; nil if it does not say.
func property(h windows.Handle, id uint32) []byte {
	query := make([]byte, 12) // STORAGE_PROPERTY_QUERY: property, kind of query (0: standard), room
	binary.LittleEndian.PutUint32(query, id)
	b := make([]byte, 1024)
	var n uint32
	if windows.DeviceIoControl(h, storageQueryProperty, &query[0], uint32(len(query)), &b[0], uint32(len(b)), &n, nil) != nil {
		return nil
	}
	return b[:n]
}

// USBSpeed is not told here.
func USBSpeed(string) int { return 0 }
