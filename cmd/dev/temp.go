package main

import (
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
)

// temporary makes a folder for the temporary files of all tests and has programs use it. Its name is
// the same every time, since the go command keeps the results of tests for one environment. It stays:
// the pictures of the real window are in it, and tests of another clone may run there.
//
// It spares ext4 without a journal, as machines for tests often have it, much work: there a file that is
// made soon after many others were removed near it costs a look at each of those. The attribute T puts
// every folder in this one into another part of the disk.
func temporary() error {
	dir := filepath.Join(os.TempDir(), fmt.Sprintf("loadline-test-%d", max(0, os.Getuid())))
	if err := os.Mkdir(dir, 0o700); err != nil {
		if info, errOld := os.Lstat(dir); errOld != nil || !info.IsDir() {
			return err
		}
	}
	// Some tests become another user.
	if err := os.Chmod(dir, 0o777|fs.ModeSticky); err != nil {
		return err
	}
	if runtime.GOOS == "linux" {
		_ = exec.Command("chattr", "+T", dir).Run() // other file systems do not know it and need it not
	}
	for _, name := range []string{"TMPDIR", "TMP", "TEMP"} {
		if err := os.Setenv(name, dir); err != nil {
			return err
		}
	}
	return nil
}
