package digest

import (
	"fmt"
	"os"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// Rotates reports whether a folder lies on a disk that turns (sysfs: queue/rotational of the device, or
// of the disk that a partition is of). What is not known does not turn.
func Rotates(path string) bool {
	info, err := os.Stat(path)
	if err != nil {
		return false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return false
	}
	dir := fmt.Sprintf("/sys/dev/block/%d:%d", unix.Major(uint64(st.Dev)), unix.Minor(uint64(st.Dev)))
	for _, queue := range []string{"/queue", "/../queue"} {
		if text, err := os.ReadFile(dir + queue + "/rotational"); err == nil {
			return strings.TrimSpace(string(text)) == "1"
		}
	}
	return false
}
