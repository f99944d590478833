//go:build linux || darwin

package fix

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// TestKilled kills a process of its own at every step, as the system would, and goes on or back in
// this one.
func TestKilled(t *testing.T) {
	const env = "LOADLINE_TEST_KILL"
	if at := os.Getenv(env); at != "" {
		root, point, _ := strings.Cut(at, "\n")
		n, err := strconv.Atoi(point)
		if err != nil {
			t.Fatal(err)
		}
		p := force(t, root, mixed)
		_, err = p.Apply(context.Background(), Options{StateDir: root + ".state", test: rig{hook: func(string) {
			if n--; n < 0 {
				syscall.Kill(os.Getpid(), syscall.SIGKILL)
				select {}
			}
		}}})
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	killed := 0
	for point := 0; ; point++ {
		root := filepath.Join(quick(t), "disk")
		p := forced(t, root, mixed)
		before := snapshot(t, root)
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		cmd.Env = append(os.Environ(), env+"="+root+"\n"+strconv.Itoa(point))
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		switch {
		case err == nil:
		case errors.As(err, &exit) && exit.Sys().(syscall.WaitStatus).Signal() == syscall.SIGKILL:
			killed++
		default:
			t.Fatalf("%v\n%s", err, out)
		}
		recoverFrom(t, p, before, Options{StateDir: root + ".state"}, point%2 == 0)
		if err == nil {
			break
		}
	}
	if killed < 4*len(mixed) {
		t.Errorf("killed only %d times", killed)
	}
}
