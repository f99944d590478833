package disk

import (
	"strconv"
	"sync"
)

// Awake keeps the computer from going to sleep by itself until release is called or the process has
// ended, however it ends. It names the system's means. The error says why it could not: release then does
// nothing. A person who closes the lid or chooses sleep is not held up. The call may take some seconds.
//
// The reason is for people, at most 256 characters: "Reading the whole disk".
func Awake(reason string) (release func(), means string, err error) {
	let, means, err := keepAwake(reason)
	if err != nil {
		return func() {}, "", err
	}
	return sync.OnceFunc(let), means, nil
}

// caffeinate is the program of macOS that keeps it awake, and its arguments: no idle sleep, for as long as
// a process lives (caffeinate(8)).
func caffeinate(pid int) (program string, args []string) {
	return "/usr/bin/caffeinate", []string{"-i", "-w", strconv.Itoa(pid)}
}
