package share

import (
	"unsafe"

	"golang.org/x/sys/windows"
)

// powerStatus is SYSTEM_POWER_STATUS (winbase.h).
type powerStatus struct {
	acLine, battery, percent, saver byte
	life, fullLife                  uint32
}

func battery() (onBattery, known bool) {
	call := windows.NewLazySystemDLL("kernel32.dll").NewProc("GetSystemPowerStatus")
	if call.Find() != nil {
		return false, false
	}
	var s powerStatus
	if ok, _, _ := call.Call(uintptr(unsafe.Pointer(&s))); ok == 0 {
		return false, false
	}
	return s.acLine == 0, s.acLine <= 1 // 255: unknown
}
