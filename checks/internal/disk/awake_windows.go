package disk

import (
	"fmt"
	"runtime"

	"golang.org/x/sys/windows"
)

var setThreadExecutionState = windows.NewLazySystemDLL("kernel32.dll").NewProc("SetThreadExecutionState")

// Flags of SetThreadExecutionState (winbase.h).
const (
	esContinuous     = 0x80000000
	esSystemRequired = 0x00000001
)

// keepAwake holds a thread of its own: what it asks for lasts for as long as the thread, or until it says
// otherwise.
func keepAwake(string) (release func(), means string, err error) {
	if err := setThreadExecutionState.Find(); err != nil {
		return nil, "", err
	}
	started, enough, done := make(chan error), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if was, _, err := setThreadExecutionState.Call(esContinuous | esSystemRequired); was == 0 {
			started <- fmt.Errorf("SetThreadExecutionState: %w", err)
			return
		}
		started <- nil
		<-enough
		_, _, _ = setThreadExecutionState.Call(esContinuous)
	}()
	if err := <-started; err != nil {
		return nil, "", err
	}
	return func() { close(enough); <-done }, "SetThreadExecutionState", nil
}
