package disk

import (
	"encoding/binary"
	"strings"
)

// An Answer is what the system says to a question that it may not be able to answer.
type Answer uint8

// The answers.
const (
	Unknown Answer = iota
	No
	Yes
)

func answer(yes bool) Answer {
	if yes {
		return Yes
	}
	return No
}

// A Medium is what a folder is on.
type Medium struct {
	Network Answer // on another machine: every call costs a round trip
	Memory  bool   // in memory, or as good as: no disk is asked
	Rotates Answer // every seek costs milliseconds
	USB     Answer
	Disk    string // the system's name of the whole disk, such as sda or disk4; "" if unknown
	Volume  string // the system's name of the volume, such as sda1 or disk4s2; "" if unknown
}

// Seeks reports whether a disk has to be taken for one on which every seek costs: it rotates, or it is on
// USB and nobody knows. Most disks that are carried about are one of the two.
func (m *Medium) Seeks() bool {
	return m.Rotates == Yes || m.Rotates == Unknown && m.USB == Yes
}

// slower is the smaller of two speeds that are known.
func slower(a, b int) int {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}

// worse is the answer that costs more.
func worse(a, b Answer) Answer {
	if a == Yes || b == Yes {
		return Yes
	}
	if a == Unknown || b == Unknown {
		return Unknown
	}
	return No
}

// usbSpeed reads the speed of a USB link as Linux gives it, Mb/s (sysfs-bus-usb: 1.5, 12, 480, 5000,
// 10000, 20000). 0 is none.
func usbSpeed(text string) int {
	whole, _, _ := strings.Cut(strings.TrimSpace(text), ".")
	n := 0
	for _, c := range whole {
		if c < '0' || c > '9' || n > 1_000_000 {
			return 0
		}
		n = n*10 + int(c-'0')
	}
	return n
}

// winioctl.h of Windows: IOCTL_STORAGE_QUERY_PROPERTY is CTL_CODE(IOCTL_STORAGE_BASE 0x2d, 0x500,
// METHOD_BUFFERED, FILE_ANY_ACCESS).
const (
	storageQueryProperty = 0x2d<<16 | 0x500<<2
	propertyDevice       = 0 // StorageDeviceProperty
	propertySeekPenalty  = 7 // StorageDeviceSeekPenaltyProperty
	busUSB               = 7 // STORAGE_BUS_TYPE, BusTypeUsb
)

// seekPenalty reads a DEVICE_SEEK_PENALTY_DESCRIPTOR: version and size of 32 bits, then a byte that
// says whether seeking costs.
func seekPenalty(b []byte) Answer {
	if len(b) < 9 {
		return Unknown
	}
	return answer(b[8] != 0)
}

// onUSB reads the bus from a STORAGE_DEVICE_DESCRIPTOR: version and size of 32 bits, four bytes, four
// offsets of 32 bits, then the bus of 32 bits.
func onUSB(b []byte) Answer {
	if len(b) < 32 {
		return Unknown
	}
	return answer(binary.LittleEndian.Uint32(b[28:]) == busUSB)
}
