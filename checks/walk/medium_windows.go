package walk

import (
	"path/filepath"

	"golang.org/x/sys/windows"
)

// mediumOf tells network drives; whether a disk spins takes rights that few have here.
func mediumOf(root string) medium {
	abs, err := filepath.Abs(root)
	if err != nil {
		return unknownMedium
	}
	volume, err := windows.UTF16PtrFromString(filepath.VolumeName(abs) + `\`)
	if err != nil {
		return unknownMedium
	}
	if windows.GetDriveType(volume) == windows.DRIVE_REMOTE {
		return network
	}
	return unknownMedium
}
