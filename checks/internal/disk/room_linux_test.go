package disk

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// Tests that mount run a second time in a process with a mount table of its own: what they mount is gone
// with it.

const roomMark = "LOADLINE_DISK_ROOM"

// mounting reports whether this process is the one that may mount. If not, it runs the test again in one
// and passes on how that ended: the caller returns.
func mounting(t *testing.T) bool {
	t.Helper()
	if os.Getenv(roomMark) == t.Name() {
		must(t, unix.Mount("", "/", "", unix.MS_REC|unix.MS_PRIVATE, ""))
		return true
	}
	if os.Geteuid() != 0 {
		t.Fatal("this test mounts file systems, which takes root; run the tests as root, as is done on every change")
	}
	cmd := exec.CommandContext(t.Context(), "/proc/self/exe", "-test.run=^"+t.Name()+"$", "-test.v")
	// The race detector would wait for a second at the end of each process.
	cmd.Env = append(os.Environ(), roomMark+"="+t.Name(), "TMPDIR="+t.TempDir(), "GORACE=atexit_sleep_ms=0")
	cmd.SysProcAttr = &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS}
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	if err != nil || !strings.Contains(out.String(), "--- PASS: "+t.Name()) {
		t.Fatalf("in the room: %v\n%s", err, out.String())
	}
	t.Log(out.String())
	return false
}

// command runs a program that must succeed and returns what it prints.
func command(t testing.TB, program string, args ...string) string {
	t.Helper()
	out, err := exec.Command(program, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", program, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// image makes a file with a file system in it.
func image(t testing.TB, size int64, mkfs ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "image")
	must(t, os.WriteFile(path, nil, 0o644))
	must(t, os.Truncate(path, size))
	command(t, mkfs[0], append(mkfs[1:], path)...)
	return path
}

// mountAt mounts something on a new folder until the test ends.
func mountAt(t testing.TB, args ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "mount")
	must(t, os.Mkdir(dir, 0o755))
	command(t, "mount", append(args, dir)...)
	t.Cleanup(func() { _ = unix.Unmount(dir, unix.MNT_DETACH) })
	return dir
}

// loop gives an image a device until the test ends.
func loop(t testing.TB, image string) string {
	t.Helper()
	dev := strings.TrimSpace(command(t, "losetup", "--find", "--show", image))
	t.Cleanup(func() { command(t, "losetup", "--detach", dev) })
	return dev
}

// patch changes the byte at an offset of an image.
func patch(t testing.TB, image string, at int64) {
	t.Helper()
	f, err := os.OpenFile(image, os.O_RDWR, 0)
	must(t, err)
	defer f.Close()
	var b [1]byte
	_, err = f.ReadAt(b[:], at)
	must(t, err)
	b[0] ^= 0xff
	_, err = f.WriteAt(b[:], at)
	must(t, err)
	must(t, f.Sync())
}

// findIn returns where content stands in an image.
func findIn(t testing.TB, image string, content []byte) int64 {
	t.Helper()
	b, err := os.ReadFile(image)
	must(t, err)
	at := bytes.Index(b, content)
	if at < 0 || bytes.Contains(b[at+1:], content) {
		t.Fatalf("the content stands not exactly once in %s", image)
	}
	return int64(at)
}

// held maps a whole file and reads it, so that its pages cannot be dropped until the test ends.
func held(t testing.TB, path string) {
	t.Helper()
	f, err := os.Open(path)
	must(t, err)
	defer f.Close()
	info, err := f.Stat()
	must(t, err)
	m, err := unix.Mmap(int(f.Fd()), 0, int(info.Size()), unix.PROT_READ, unix.MAP_SHARED|unix.MAP_POPULATE)
	must(t, err)
	t.Cleanup(func() { _ = unix.Munmap(m) })
	_ = fmt.Sprint(m[0])
}
