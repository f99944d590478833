//go:build linux

package before

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
)

// Tests that mount, or that run as somebody else, run a second time in a process of their own: a
// room. What a room mounts is gone with it.

const roomMark = "LOADLINE_ROOM"

// nobody is an ordinary user without a name.
const nobody = 54321

// inRoom reports whether this process is the room of the test. If not, it runs the test again in one
// and passes on how that ended: the caller returns.
func inRoom(t *testing.T, attr *syscall.SysProcAttr) bool {
	t.Helper()
	if os.Getenv(roomMark) == t.Name() {
		return true
	}
	if os.Geteuid() != 0 {
		t.Fatal("this test mounts file systems and changes users, which takes root; run the tests as root, as is done on every change")
	}
	dir, err := os.MkdirTemp("", "loadline-room-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	// A copy, for the folder of the test binary is closed to other users.
	self := filepath.Join(dir, "room.test")
	if err := copyProgram(self); err != nil {
		t.Fatal(err)
	}
	work := filepath.Join(dir, "work")
	if err := os.Mkdir(work, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(work, 0o777); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), self, "-test.run=^"+t.Name()+"$", "-test.v", "-test.timeout=5m")
	if attr.Credential != nil {
		cmd.Dir = work // the package's folder may be closed to others
	}
	cmd.Env = append(os.Environ(), roomMark+"="+t.Name(), "TMPDIR="+work, "HOME="+work)
	cmd.SysProcAttr = attr
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err = cmd.Run()
	if err != nil || !strings.Contains(out.String(), "--- PASS: "+t.Name()) {
		t.Fatalf("in the room: %v\n%s", err, out.String())
	}
	t.Log(out.String())
	return false
}

func copyProgram(to string) error {
	from, err := os.Open("/proc/self/exe")
	if err != nil {
		return err
	}
	defer from.Close()
	f, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, from)
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}

// mounting is a room with a mount table of its own.
func mounting(t *testing.T) bool {
	t.Helper()
	return inRoom(t, &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS})
}

// ordinary is a room of a user without rights.
func ordinary(t *testing.T) bool {
	t.Helper()
	return inRoom(t, &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}})
}

// command runs a program that must succeed.
func command(t testing.TB, program string, args ...string) {
	t.Helper()
	if out, err := exec.Command(program, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %s: %v\n%s", program, strings.Join(args, " "), err, out)
	}
}

// mountAt makes a folder and mounts something there until the test ends.
func mountAt(t testing.TB, dir, name string, args ...string) string {
	t.Helper()
	p := filepath.Join(dir, name)
	if err := os.MkdirAll(p, 0o755); err != nil {
		t.Fatal(err)
	}
	command(t, "mount", append(args, p)...)
	t.Cleanup(func() { _ = unix.Unmount(p, unix.MNT_DETACH) })
	return p
}

// tmpfs mounts memory.
func tmpfs(t testing.TB, dir, name, options string) string {
	t.Helper()
	return mountAt(t, dir, name, "-t", "tmpfs", "-o", options, "tmpfs")
}

// image makes a file with a file system in it.
func image(t testing.TB, dir, name string, size int64, mkfs ...string) string {
	t.Helper()
	p := filepath.Join(dir, name)
	f, err := os.Create(p)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(size); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	command(t, mkfs[0], append(mkfs[1:], p)...)
	return p
}

// resultOf returns a check's result.
func resultOf(t testing.TB, rep *checks.Report, c *checks.Check) *checks.Result {
	t.Helper()
	for i := range rep.Checks {
		if rep.Checks[i].Check == c {
			return &rep.Checks[i]
		}
	}
	t.Fatalf("%s is not in the report", c.ID)
	return nil
}

// whole returns the rules that hold of the whole job.
func whole(rep *checks.Report) map[string]checks.Level {
	found := map[string]checks.Level{}
	for s, level := range spots(rep) {
		if s.path == "" {
			found[s.rule] = level
		}
	}
	return found
}

// expectWhole compares the rules of the whole job; those of the machine that runs the tests aside.
func expectWhole(t testing.TB, rep *checks.Report, want ...string) {
	t.Helper()
	got := whole(rep)
	for _, id := range []string{"on-battery", "wireless-link", "slow-link", "slow-source", "clock-skew"} {
		delete(got, id)
	}
	for _, id := range want {
		if _, ok := got[id]; !ok {
			t.Errorf("%s does not hold", id)
		}
		delete(got, id)
	}
	for id := range got {
		t.Errorf("%s holds: %s", id, detailOf(rep, id))
	}
}

func detailOf(rep *checks.Report, id string) string {
	for i := range rep.Checks {
		for _, f := range rep.Checks[i].Findings {
			if f.Rule.ID == id {
				return f.Detail
			}
		}
	}
	return ""
}

// fact returns a number of a check.
func fact[T any](t testing.TB, rep *checks.Report, c *checks.Check, key string) T {
	t.Helper()
	for _, f := range resultOf(t, rep, c).Facts {
		if f.Key == key {
			v, ok := f.Value.(T)
			if !ok {
				t.Fatalf("%s: %s is a %T", c.ID, key, f.Value)
			}
			return v
		}
	}
	var none T
	t.Errorf("%s does not tell %s", c.ID, key)
	return none
}

// leftOn fails for what the trial left on a share.
func leftOn(t testing.TB, share string, known ...string) {
	t.Helper()
	list, err := os.ReadDir(share)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range list {
		names = append(names, e.Name())
	}
	if fmt.Sprint(names) != fmt.Sprint(known) {
		t.Errorf("%q lies on the share, want %q", names, known)
	}
}
