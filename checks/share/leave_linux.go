package share

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// Leave makes the process ready to end at once, whatever it still holds open on a share that does not
// answer. Call it last: what is open then stays open in a process of its own until the server is back.
//
// The last close of a file on NFS version 4 waits for the server, in a process that ends too, and there not
// even SIGKILL helps: whoever waits for the process would wait for the server (measured: exit hangs in
// nfs4_close_sync on Linux 6.1). A file that another process has open as well is not closed for the last
// time.
func Leave() {
	held := openOnShares()
	if len(held) == 0 {
		return
	}
	var pipe [2]int
	if unix.Pipe2(pipe[:], unix.O_CLOEXEC) != nil {
		return
	}
	null, err := unix.Open(os.DevNull, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return
	}
	// The shell reads from a pipe that ends when this process has ended, and closes what it holds only then.
	files := append([]uintptr{uintptr(pipe[0]), uintptr(null), uintptr(null)}, held...)
	_, _ = syscall.ForkExec("/bin/sh", []string{"sh", "-c", "read -r end"}, &syscall.ProcAttr{
		Dir: "/", Files: files, Sys: &syscall.SysProcAttr{Setsid: true},
	}) // without it the process ends when the server is back
}

// openOnShares returns the descriptors of this process that are of network file systems. It asks no server.
func openOnShares() []uintptr {
	rows, err := mounts(context.Background())
	if err != nil {
		return nil
	}
	const dir = "/proc/self/fd"
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var held []uintptr
	for _, e := range list {
		fd, err := strconv.Atoi(e.Name())
		if err != nil || fd <= 2 {
			continue
		}
		path, err := os.Readlink(filepath.Join(dir, e.Name()))
		if err != nil || !filepath.IsAbs(path) {
			continue
		}
		if m, ok := Covering(rows, path); ok && network(m.Type) {
			held = append(held, uintptr(fd))
		}
	}
	return held
}
